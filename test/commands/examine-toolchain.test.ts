import { describe, expect, it } from 'vitest';

import { examineToolchain } from '../../src/commands/examine-toolchain.ts';
import { createPack } from '../../src/kconfig/pack.ts';
import { readTree } from '../../src/kconfig/tree-questions.ts';
import type { Spec } from '../../src/spec/spec.ts';
import { spec } from '../kit/fixture.ts';

const script =
  'case "$1" in\ngcc)\n\techo 12.1.0\n\t;;\nllvm)\n\techo 17.0.1\n\t;;\nrustc)\n\techo 1.78.0\n\t;;\nesac\n';

function examine(
  environment: Spec['environment'],
  { text = '', files = {} }: { readonly text?: string; readonly files?: Readonly<Record<string, string>> } = {
    files: { 'scripts/min-tool-version.sh': script },
  },
): readonly { readonly code: string; readonly message: string; readonly help: string | undefined }[] {
  const texts = { Makefile: 'KERNELVERSION = 6.12.3\nSRCARCH := x86\n', Kconfig: '', ...files };
  const pack = createPack(
    '0'.repeat(64),
    Object.entries(texts).map(([path, one]) => [path, { content: Buffer.from(one), executable: true }]),
  );
  const tree = readTree(pack, { arch: 'x86_64' }, new Map());
  if (tree.kind !== 'whole') throw new Error('the tree asks something');
  const made = {
    pack: { pack, sha256: '', key: '', tree: undefined, diagnostics: [] },
    tree,
    text,
    verdicts: [],
  };
  return examineToolchain({ ...spec, environment }, made).map(({ code, message, help }) => ({
    code,
    message,
    help,
  }));
}

describe('examineToolchain', () => {
  it('is content with tools that are new enough, and with a tree that says nothing', () => {
    expect(examine({ debian: 'bookworm' })).toEqual([]);
    expect(examine({ debian: 'bullseye' }, {})).toEqual([]);
  });

  it('says by the tree’s own numbers which release is too old, and which is not', () => {
    expect(examine({ debian: 'bullseye' })).toEqual([
      {
        code: 'command/tool-too-old',
        message: 'Linux 6.12.3 takes gcc from 12.1.0 on, and Debian bullseye has 10',
        help: 'Take a newer release (environment.debian: bookworm): it is new enough in bookworm and trixie.',
      },
    ]);
  });

  it('says so of a compiler that the spec asks for', () => {
    expect(examine({ debian: 'bookworm', llvm: 16 })).toMatchObject([
      {
        message: 'Linux 6.12.3 takes clang from 17.0.1 on, and the spec asks for 16',
        help: 'Ask for a newer one (environment.llvm), or take another kernel.',
      },
    ]);
  });

  it('looks at Rust where the configuration has it', () => {
    const files = { 'scripts/min-tool-version.sh': script };
    expect(examine({ debian: 'bookworm' }, { text: 'CONFIG_RUST=y\n', files })).toMatchObject([
      { message: 'Linux 6.12.3 takes rustc from 1.78.0 on, and Debian bookworm has 1.63.0' },
    ]);
    expect(examine({ debian: 'trixie' }, { text: 'CONFIG_RUST=y\n', files })).toEqual([]);
  });
});
