import { describe, expect, it } from 'vitest';

import { adviseVersion } from '../../src/commands/advise-version.ts';
import { configureTree } from '../../src/commands/configure-tree.ts';
import { examineToolchain } from '../../src/commands/examine-toolchain.ts';
import type { SpecConfig } from '../../src/commands/spec-tree.ts';
import { knownEnvironment, minimumsOf, refusedCompilers } from '../../src/commands/tool-minimums.ts';
import { createPack, type Pack } from '../../src/kconfig/pack.ts';
import { readTree } from '../../src/kconfig/tree-questions.ts';
import type { Spec } from '../../src/spec/spec.ts';
import { packagePin, spec } from '../kit/fixture.ts';

const script =
  'case "$1" in\ngcc)\n\techo 12.1.0\n\t;;\nllvm)\n\techo 17.0.1\n\t;;\nrustc)\n\techo 1.78.0\n\t;;\nbindgen)\n\techo 0.65.1\n\t;;\nesac\n';
const table = [
  '====== =======  =====',
  'Program Minimal  Command',
  '====== =======  =====',
  'pahole 1.26     pahole --version',
  '====== =======  =====',
].join('\n');
/** As init/Kconfig and lib/Kconfig.debug of Linux 7.3 have them, with versions in the place of questions. */
const kconfig = `
config GCC_VERSION
	int
	default @GCC@
config PAHOLE_VERSION
	int
	default @PAHOLE@
config RUST_IS_AVAILABLE
	bool
config GCC_ASM_GOTO_OUTPUT_BROKEN
	bool
	default y if GCC_VERSION < 110500
	default y if GCC_VERSION >= 120000 && GCC_VERSION < 120400
config HARDWARE_WORKAROUND
	bool
	default y
config DEBUG_INFO_BTF
	bool "Type information"
	depends on PAHOLE_VERSION >= 122
config RUST
	bool "Rust"
	depends on RUST_IS_AVAILABLE
`;

interface Case {
  readonly files?: Readonly<Record<string, string>>;
  /** What the environment is, by its options. */
  readonly gcc?: number;
  readonly pahole?: number;
  readonly set?: readonly string[];
  readonly base?: string;
  readonly packages?: Readonly<Record<string, string>>;
}

const documents = { 'scripts/min-tool-version.sh': script, 'Documentation/process/changes.rst': table };

function packOf({ files = documents, gcc = 120400, pahole = 130 }: Case): Pack {
  const texts = {
    Makefile: 'KERNELVERSION = 6.12.3\nSRCARCH := x86\n',
    Kconfig: kconfig.replace('@GCC@', String(gcc)).replace('@PAHOLE@', String(pahole)),
    ...files,
  };
  return createPack(
    '0'.repeat(64),
    Object.entries(texts).map(([path, one]) => [path, { content: Buffer.from(one), executable: true }]),
  );
}

function made(one: Case): Pick<SpecConfig, 'pack' | 'tree' | 'text' | 'verdicts' | 'base' | 'explain'> {
  const files = packOf(one);
  const tree = readTree(files, { arch: 'x86_64' }, new Map());
  if (tree.kind !== 'whole') throw new Error('the tree asks something');
  const base = { kind: 'file', file: 'base.config', text: one.base ?? '' } as const;
  const requests = (one.set ?? []).map((option) => ({ option, value: 'y', origin: { file: 'spec.yaml' } }));
  const config = configureTree({ files, tree, base, requests });
  return { ...config, pack: { pack: files, sha256: '', key: '', tree: undefined, diagnostics: [] }, tree };
}

const known = (environment: Spec['environment'], packages: Case['packages'] = {}) =>
  knownEnvironment(
    { ...spec, environment },
    Object.entries(packages).map(([name, version]) => packagePin(name, version, false)),
  );

function examine(environment: Spec['environment'], one: Case = {}) {
  const found = examineToolchain(
    { ...spec, environment },
    known(environment, one.packages),
    made(one),
    false,
  );
  return found.map(({ code, message, help }) => ({ code, message, help }));
}

describe('examineToolchain', () => {
  it('is content with tools that are new enough, and with a tree that says nothing', () => {
    expect(examine({ debian: 'trixie' }, { gcc: 140200 })).toEqual([]);
    expect(examine({ debian: 'bullseye' }, { files: {}, gcc: 140200 })).toEqual([]);
  });

  it('says by the tree’s own numbers which release is too old, and which is not', () => {
    expect(examine({ debian: 'bullseye' })).toEqual([
      {
        code: 'command/tool-too-old',
        message: 'Linux 6.12.3 takes gcc from 12.1.0 on, and Debian bullseye has 10.2.1',
        help: 'Take another release (environment.debian: bookworm): bookworm has 12.2.0 and trixie has 12.4.0, 13.3.0 and 14.2.0.',
      },
    ]);
  });

  it('says so of a compiler that the spec asks for, and which of the release would do', () => {
    expect(examine({ debian: 'bookworm', llvm: 16 })).toMatchObject([
      {
        message: 'Linux 6.12.3 takes clang from 17.0.1 on, and the spec asks for 16',
        help: 'Ask for another one that Debian bookworm has (environment.llvm: 19).',
      },
    ]);
  });

  it('looks at Rust where it is asked for', () => {
    expect(examine({ debian: 'bookworm' }, { set: ['RUST'] })).toMatchObject([
      {
        code: 'command/tool-too-old',
        message: 'Linux 6.12.3 takes bindgen from 0.65.1 on, and Debian bookworm has 0.60.1',
      },
      {
        code: 'command/tool-too-old',
        message: 'Linux 6.12.3 takes rustc from 1.78.0 on, and Debian bookworm has 1.63.0',
      },
    ]);
    expect(examine({ debian: 'trixie' }, { set: ['RUST'] })).toEqual([]);
    const pinned = { rustc: '1.80.0-1', bindgen: '0.66.1-2' };
    expect(examine({ debian: 'bookworm' }, { set: ['RUST'], packages: pinned })).toEqual([]);
  });

  it('warns of a base that loses its Rust', () => {
    expect(examine({ debian: 'bookworm' }, { base: 'CONFIG_RUST=y\n' })).toMatchObject([
      {
        code: 'command/rust-lost',
        message:
          'the base has RUST on, which is lost: Linux 6.12.3 takes bindgen from 0.65.1 on, and Debian bookworm has 0.60.1',
      },
      { code: 'command/rust-lost' },
    ]);
  });

  it('warns of tools that are newer than an old tree expects', () => {
    const says = [
      '\techo >&2 "***"',
      `\techo >&2 "*** Rust compiler '$RUSTC' is too new. This may or may not work."`,
    ].join('\n');
    const files = { ...documents, 'scripts/rust_is_available.sh': says };
    expect(examine({ debian: 'trixie' }, { set: ['RUST'], files })).toMatchObject([
      {
        code: 'command/tool-too-new',
        message: 'Linux 6.12.3 expects rustc 1.78.0, and Debian trixie has 1.85.1',
      },
    ]);
    const exact = { rustc: '1.78.0+dfsg1-2' };
    expect(examine({ debian: 'trixie' }, { set: ['RUST'], files, packages: exact })).toEqual([]);
  });

  it('warns where only the list of the tree has a newer one', () => {
    expect(examine({ debian: 'bookworm' }, { set: ['DEBUG_INFO_BTF'] })).toEqual([
      {
        code: 'command/tool-below-listed',
        message: 'Linux 6.12.3 takes pahole from 1.26 on, and Debian bookworm has 1.24',
        help: 'Take another release (environment.debian: trixie): trixie has 1.30.',
      },
    ]);
  });

  it('tells what the tree calls broken in a version, where the environment has that', () => {
    expect(examine({ debian: 'bookworm' }, { gcc: 120200 })).toEqual([
      {
        code: 'command/tool-known-broken',
        message:
          'Linux 6.12.3 calls something in gcc 12.2.0 broken, and does without it: GCC_ASM_GOTO_OUTPUT_BROKEN (Kconfig:13)',
        help: 'Take another release (environment.debian: trixie): trixie has 12.4.0, 13.3.0 and 14.2.0.',
      },
    ]);
    // answers of another environment were assumed
    expect(examine({ debian: 'trixie' }, { gcc: 120200 })).toEqual([]);
  });
});

describe('refusedCompilers', () => {
  it('needs no answer of the environment', () => {
    const refused = (environment: Spec['environment']): readonly string[] =>
      refusedCompilers({ ...spec, environment }, packOf({}), known(environment)).map(
        ({ message }) => message,
      );
    expect(refused({ debian: 'bookworm', llvm: 14 })).toEqual([
      'Linux 6.12.3 takes clang from 17.0.1 on, and the spec asks for 14',
    ]);
    expect(refused({ debian: 'bookworm' })).toEqual([]);
  });
});

describe('adviseVersion', () => {
  const advise = (environment: Spec['environment'], one: Case): readonly (string | undefined)[] => {
    const { verdicts, pack, tree } = made(one);
    const minimums = minimumsOf(spec, pack.pack, tree.make);
    return verdicts.map((verdict) => adviseVersion(verdict, known(environment), minimums));
  };

  it('says which version a lost request takes, and who has it', () => {
    expect(advise({ debian: 'bullseye' }, { pahole: 120, set: ['DEBUG_INFO_BTF'] })).toEqual([
      'It takes pahole from 1.22 (Kconfig:19), and Debian bullseye has 1.20. Take another release (environment.debian: bookworm): bookworm has 1.24 and trixie has 1.30.',
    ]);
  });

  it('says when the environment itself would do, and answers of another one were assumed', () => {
    expect(advise({ debian: 'trixie' }, { pahole: 120, set: ['DEBUG_INFO_BTF', 'RUST'] })).toEqual([
      'It takes pahole from 1.22 (Kconfig:19), and Debian trixie has 1.30. Another environment was assumed here: `quern pin` asks this one.',
      'Debian trixie has rustc 1.85.1 and bindgen 0.71.1, which the tree takes. Another environment was assumed here: `quern pin` asks this one.',
    ]);
  });

  it('has nothing to say where no version is in the way', () => {
    expect(advise({ debian: 'trixie' }, { set: ['DEBUG_INFO_BTF', 'WEIR'] })).toEqual([undefined, undefined]);
    // the tools are told of by themselves
    expect(advise({ debian: 'bookworm' }, { set: ['RUST'] })).toEqual([undefined]);
  });
});
