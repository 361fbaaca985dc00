/** Referee: the script of the trees itself, run by a shell. Their documents are in the slow suite. */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';

import { describe, expect, it } from 'vitest';

import {
  isAtLeast,
  minimumVersion,
  minimumVersionScript,
  oldTools,
  programTable,
  readMinimums,
  readProgramTable,
} from '../../src/environment/minimum-versions.ts';
import type { ToolchainRequest } from '../../src/environment/toolchain.ts';
import { usedTools } from '../../src/environment/tools.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';

const machines = [
  { ARCH: 'x86_64', SRCARCH: 'x86' },
  { ARCH: 's390', SRCARCH: 's390' },
  { ARCH: 'powerpc', SRCARCH: 'powerpc' },
  { ARCH: 'loongarch', SRCARCH: 'loongarch' },
  { ARCH: 'parisc64', SRCARCH: 'parisc' },
];
const scriptTools = ['binutils', 'gcc', 'llvm', 'rustc', 'bindgen'] as const;

describe('minimumVersion', () => {
  it.for(['6.1', '6.12', '7.3'] as const)(
    'reads the script of Linux %s as a shell does',
    { timeout: 120_000 },
    async (series, context) => {
      const { folder } = await orSkip(context, kernelTree(series));
      const path = join(folder, minimumVersionScript);
      const script = readFileSync(path, 'utf8');
      for (const env of machines) {
        for (const tool of scriptTools) {
          const said = execFileSync('sh', [path, tool], {
            env: { PATH: process.env['PATH'], ...env },
            encoding: 'utf8',
          });
          const read = minimumVersion(script, tool, env);
          expect([tool, env.ARCH, read?.version]).toEqual([tool, env.ARCH, said.trim()]);
          expect(script.split('\n')[(read?.line ?? 0) - 1]).toContain(`echo ${said.trim()}`);
        }
      }
    },
  );

  // the form that trees after 6.12 have; referee: sh
  it.each(machines)('reads conditions of several parts as a shell does, for $ARCH', (env) => {
    const branches = [
      '"$SRCARCH" = s390 -o "$SRCARCH" = x86',
      '"$ARCH" != parisc64 -a "$SRCARCH" = powerpc',
      '"$SRCARCH" = loongarch',
    ];
    const cases = branches.map(
      (branch, nth) => `${nth === 0 ? '' : 'el'}if [ ${branch} ]; then\n\t\techo ${nth + 15}.0.0`,
    );
    const script = `case "$1" in\nllvm)\n\t${cases.join('\n\t')}\n\telse\n\t\techo 13.0.1\n\tfi\n\t;;\nesac\n`;
    const said = execFileSync('sh', ['-s', 'llvm'], {
      input: script,
      env: { PATH: process.env['PATH'], ...env },
      encoding: 'utf8',
    });
    expect(minimumVersion(script, 'llvm', env)?.version).toBe(said.trim());
  });

  it('knows nothing of a condition that it cannot read', () => {
    const script = 'llvm)\n\tif [ -e /otter ]; then\n\t\techo 15.0.0\n\telse\n\t\techo 13.0.1\n\tfi\n\t;;\n';
    expect(minimumVersion(script, 'llvm', { ARCH: 'arm', SRCARCH: 'arm' })).toBeUndefined();
  });

  it('knows nothing of a script that says nothing', () => {
    expect(minimumVersion('', 'gcc', { ARCH: 'arm', SRCARCH: 'arm' })).toBeUndefined();
    expect(
      minimumVersion('gcc)\n\t;;\nllvm)\n\techo 1\n\t;;\n', 'gcc', { ARCH: 'arm', SRCARCH: 'arm' }),
    ).toBeUndefined();
  });
});

describe('readProgramTable', () => {
  it('finds no table where there is none', () => {
    expect(readProgramTable('')).toEqual([]);
    expect(readProgramTable('=== ===\nA   1\n=== ===\n')).toEqual([]);
  });
});

describe('isAtLeast', () => {
  it.each([
    ['2.35.2', '2.25', true],
    ['2.6.4', '2.5.35', true],
    ['1.20', '1.26', false],
    ['3.9.2', '3.9.x', true],
    ['3.8.2', '3.9.x', false],
    ['2.9', '2.10o', false],
    ['12', '12.1.0', true],
    ['11', '12.1.0', false],
    ['5.1', '5.1.0', true],
    ['17.0.1', '17.0.1', true],
  ])('%s is no older than %s: %s', (has, needs, expected) => {
    expect(isAtLeast(has, needs)).toBe(expected);
  });
});

const script =
  'case "$1" in\ngcc)\n\techo 12.1.0\n\t;;\nbinutils)\n\techo 2.30.0\n\t;;\nllvm)\n\techo 17.0.1\n\t;;\nrustc)\n\techo 1.78.0\n\t;;\nbindgen)\n\techo 0.65.1\n\t;;\nesac\n';
const table = [
  '====== =======  =====',
  'Program Minimal  Command',
  '====== =======  =====',
  'pahole 1.26     pahole --version',
  'flex   9.9      flex --version',
  '====== =======  =====',
].join('\n');

describe('oldTools', () => {
  const minimums = readMinimums((path) => (path === programTable ? table : script), {
    ARCH: 'x86_64',
    SRCARCH: 'x86',
  });
  const needs = (...names: string[]) => names.map((name) => ({ package: name, because: 'a test' }));
  const old = (
    environment: Omit<ToolchainRequest, 'arch'>,
    packages: readonly string[] = [],
    pinned: Readonly<Record<string, string>> = {},
  ): readonly unknown[] => {
    const request = { arch: 'x86_64', ...environment } as const;
    const known = { request, packages: new Map(Object.entries(pinned)) };
    return oldTools(minimums, usedTools(request, needs(...packages)), known).map(
      ({ tool, has, needs: least }) => [tool, has, least.version],
    );
  };

  it('is content with what is new enough, and with what is not used', () => {
    expect(old({ debian: 'bookworm' })).toEqual([]);
    expect(old({ debian: 'trixie' }, ['rustc', 'bindgen', 'dwarves'])).toEqual([]);
    expect(old({ debian: 'trixie', llvm: 17 })).toEqual([]);
  });

  it('names what is too old', () => {
    expect(old({ debian: 'bullseye' })).toEqual([['gcc', '10.2.1', '12.1.0']]);
    expect(old({ debian: 'bookworm' }, ['rustc', 'bindgen'])).toEqual([
      ['bindgen', '0.60.1', '0.65.1'],
      ['rustc', '1.63.0', '1.78.0'],
    ]);
    expect(old({ debian: 'bookworm', llvm: 16 })).toEqual([['llvm', '16.0.6', '17.0.1']]);
    expect(old({ debian: 'bookworm' }, ['dwarves', 'flex'])).toEqual([
      ['flex', '2.6.4', '9.9'],
      ['pahole', '1.24', '1.26'],
    ]);
  });

  it('goes by the packages of a lock where they are known', () => {
    const pinned = { 'gcc-10': '12.2.0-1', rustc: '1.78.0+dfsg1-2', dwarves: '1.25-2' };
    expect(old({ debian: 'bullseye' }, ['rustc', 'dwarves'], pinned)).toEqual([['pahole', '1.25', '1.26']]);
  });

  it('knows the packages of cross compilers', () => {
    const request = { arch: 'arm64', debian: 'bullseye', gcc: 9 } as const;
    const packages = new Map([
      ['gcc-9-aarch64-linux-gnu', '12.3.0-1cross1'],
      ['binutils-aarch64-linux-gnu', '2.29-1'],
    ]);
    expect(oldTools(minimums, usedTools(request, []), { request, packages })).toMatchObject([
      { tool: 'binutils', has: '2.29' },
    ]);
  });
});
