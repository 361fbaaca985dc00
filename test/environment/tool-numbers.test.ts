/** Referee: the scripts of the trees that make these numbers, on programs that say a version. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import {
  boundsText,
  isWithin,
  numberedVersion,
  readBound,
  toolOfOption,
  versionNumber,
} from '../../src/environment/tool-numbers.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelSeries, kernelTree } from '../oracle/kernel-trees.ts';

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'quern-tools-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** A program that says the same whatever it is asked; a compiler is asked to preprocess a few lines. */
function fake(name: string, says: string): string {
  const path = join(folder, name);
  writeFileSync(path, `#!/bin/sh\ncat <<'END'\n${says}\nEND\n`, { mode: 0o755 });
  return path;
}

const run = (script: string, ...words: string[]): number => {
  const env = { PATH: process.env['PATH'], ARCH: 'x86_64', SRCARCH: 'x86' };
  return Number(
    execFileSync('sh', ['-c', '"$@" </dev/null', 'sh', script, ...words], { env, encoding: 'utf8' })
      .trim()
      .split(' ')
      .at(-1),
  );
};

describe('versionNumber', () => {
  it.for(kernelSeries)(
    'is what the scripts of Linux %s print',
    { timeout: 120_000 },
    async (series, context) => {
      const tree = await orSkip(context, kernelTree(series));
      const script = (name: string): string => join(tree.folder, 'scripts', name);
      const scripts: readonly (readonly [string, string, string, string])[] = [
        ['GCC_VERSION', 'cc-version.sh', '14.2.0', 'GCC 14 2 0'],
        ['CLANG_VERSION', 'cc-version.sh', '19.1.7', 'Clang 19 1 7'],
        ['LD_VERSION', 'ld-version.sh', '2.35.2', 'GNU ld (GNU Binutils for Debian) 2.35.2'],
        ['LD_VERSION', 'ld-version.sh', '2.40', 'GNU ld (GNU Binutils for Debian) 2.40'],
        ['LLD_VERSION', 'ld-version.sh', '19.1.7', 'Debian LLD 19.1.7 (compatible with GNU linkers)'],
        ['AS_VERSION', 'as-version.sh', '2.35.2', 'GNU assembler (GNU Binutils for Debian) 2.35.2'],
        ['PAHOLE_VERSION', 'pahole-version.sh', '1.24', 'v1.24'],
        ['RUSTC_VERSION', 'rustc-version.sh', '1.85.1', 'rustc 1.85.1 (4eb161250 2025-03-15)'],
      ];
      let compared = 0;
      for (const [nth, [option, name, version, says]] of scripts.entries()) {
        // that of 5.10 reads what a linker said
        if (!existsSync(script(name)) || (series === '5.10' && name === 'ld-version.sh')) continue;
        const number = run(script(name), fake(`tool-${nth}`, says));
        expect([option, versionNumber(option, version, number)]).toEqual([option, number]);
        expect(numberedVersion(option, number)).toMatch(new RegExp(`^${version}(?:\\.0)?$`, 'u'));
        compared += 1;
      }
      expect(compared).toBeGreaterThan(series === '5.10' ? 0 : 5);
    },
  );

  it('is what the awk script of Linux 5.10 makes of a linker', { timeout: 120_000 }, async (context) => {
    const tree = await orSkip(context, kernelTree('5.10'));
    const input = 'GNU ld (GNU Binutils for Debian) 2.35.2\n';
    const number = Number(
      execFileSync('awk', ['-f', join(tree.folder, 'scripts/ld-version.sh')], { input, encoding: 'utf8' }),
    );
    expect(versionNumber('LD_VERSION', '2.35.2', number)).toBe(number);
    expect(numberedVersion('LD_VERSION', number)).toBe('2.35.2');
  });
});

describe('a bound', () => {
  it.each([
    ['PAHOLE_VERSION', '>= 122', '1.20', false],
    ['PAHOLE_VERSION', '>= 122', '1.22', true],
    ['PAHOLE_VERSION', '< 128', '1.30', false],
    ['PAHOLE_VERSION', '> 129', '1.30', true],
    ['GCC_VERSION', '<= 120200', '12.2.0', true],
    ['GCC_VERSION', '!= 120200', '12.2.0', false],
    ['GCC_VERSION', '= 120200', '12.2.0', true],
    ['RUSTC_VERSION', '>= 108800', '1.85.1', false],
    ['LD_VERSION', '>= 233010000', '2.35.2', true],
    ['LD_VERSION', '>= 23900', '2.40', true],
  ])('%s %s holds for %s: %s', (option, comparison, version, expected) => {
    const bound = readBound(option, comparison);
    expect(bound && isWithin(version, bound)).toBe(expected);
  });

  it('is told in versions', () => {
    const bounds = ['>= 120000', '< 120400'].flatMap((one) => readBound('GCC_VERSION', one) ?? []);
    expect(boundsText(bounds)).toBe('from 12.0.0 and before 12.4.0');
    expect(readBound('GCC_VERSION', 'y')).toBeUndefined();
    expect(readBound('GCC_VERSION', '>= LEAST (4)')).toBeUndefined();
  });
});

describe('toolOfOption', () => {
  const arch = 'x86_64';
  it('knows only tools that the environment builds with', () => {
    const gcc = { arch, debian: 'trixie' } as const;
    const llvm = { ...gcc, llvm: 19 };
    const options = [
      'GCC_VERSION',
      'CLANG_VERSION',
      'LD_VERSION',
      'LLD_VERSION',
      'AS_VERSION',
      'PAHOLE_VERSION',
      'NR_CPUS',
    ];
    expect(options.map((one) => toolOfOption(one, gcc))).toEqual([
      'gcc',
      undefined,
      'binutils',
      undefined,
      'binutils',
      'pahole',
      undefined,
    ]);
    expect(options.map((one) => toolOfOption(one, llvm))).toEqual([
      undefined,
      'llvm',
      undefined,
      'llvm',
      'llvm',
      'pahole',
      undefined,
    ]);
  });
});
