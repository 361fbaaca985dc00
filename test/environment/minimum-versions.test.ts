/** Referee: the script of the trees itself, run by a shell. */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';

import { describe, expect, it } from 'vitest';

import {
  minimumVersion,
  minimumVersionScript,
  oldTools,
  releaseTools,
} from '../../src/environment/minimum-versions.ts';
import { debianReleases } from '../../src/spec/spec.ts';
import { aptRoot, orSkip } from '../oracle/apt-root.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';

const machines = [
  { ARCH: 'x86_64', SRCARCH: 'x86' },
  { ARCH: 's390', SRCARCH: 's390' },
  { ARCH: 'powerpc', SRCARCH: 'powerpc' },
  { ARCH: 'loongarch', SRCARCH: 'loongarch' },
  { ARCH: 'parisc64', SRCARCH: 'parisc' },
];
const tools = ['binutils', 'gcc', 'llvm', 'rustc', 'bindgen'] as const;

describe('minimumVersion', () => {
  it.for(['6.1', '6.12', '7.3'] as const)(
    'reads the script of Linux %s as a shell does',
    { timeout: 120_000 },
    async (series, context) => {
      const { folder } = await orSkip(context, kernelTree(series));
      const path = join(folder, minimumVersionScript);
      const script = readFileSync(path, 'utf8');
      for (const env of machines) {
        for (const tool of tools) {
          const said = execFileSync('sh', [path, tool], {
            env: { PATH: process.env['PATH'], ...env },
            encoding: 'utf8',
          });
          expect([tool, env.ARCH, minimumVersion(script, tool, env)]).toEqual([tool, env.ARCH, said.trim()]);
        }
      }
    },
  );

  it('knows nothing of a script that says nothing', () => {
    expect(minimumVersion('', 'gcc', { ARCH: 'arm', SRCARCH: 'arm' })).toBeUndefined();
  });
});

/** The versions of a package in Packages files. */
function versionsOf(name: string, texts: readonly string[]): readonly string[] {
  return texts.flatMap((text) => {
    const at = text.indexOf(`\nPackage: ${name}\n`);
    return at < 0 ? [] : (/^Version: (\S+)$/mu.exec(text.slice(at, at + 4096))?.[1] ?? []);
  });
}

describe('releaseTools', () => {
  // Debian's Packages files
  it.for(debianReleases)('are those of Debian %s', { timeout: 120_000 }, async (release, context) => {
    const { packagesFiles } = await orSkip(context, aptRoot(release));
    const texts = packagesFiles.map((file) => `\n${readFileSync(file, 'latin1')}`);
    for (const [tool, version] of Object.entries(releaseTools[release])) {
      expect(versionsOf(tool, texts).some((one) => one.startsWith(version))).toBe(true);
    }
  });
});

describe('oldTools', () => {
  const script =
    'case "$1" in\ngcc)\n\techo 12.1.0\n\t;;\nbinutils)\n\techo 2.30.0\n\t;;\nllvm)\n\techo 17.0.1\n\t;;\nrustc)\n\techo 1.78.0\n\t;;\nbindgen)\n\techo 0.65.1\n\t;;\nesac\n';
  const variables = { ARCH: 'x86_64', SRCARCH: 'x86' };

  it('is content with what is new enough', () => {
    expect(oldTools(script, variables, { debian: 'bookworm' }, false)).toEqual([]);
    expect(oldTools(script, variables, { debian: 'trixie' }, true)).toEqual([]);
    expect(oldTools(script, variables, { debian: 'trixie', llvm: 17 }, false)).toEqual([]);
  });

  it('names what is too old, and the releases that fit', () => {
    expect(oldTools(script, variables, { debian: 'bullseye' }, false)).toEqual([
      { tool: 'gcc', has: '10', needs: '12.1.0', releases: ['bookworm', 'trixie'] },
    ]);
    expect(oldTools(script, variables, { debian: 'bookworm' }, true)).toEqual([
      { tool: 'rustc', has: '1.63.0', needs: '1.78.0', releases: ['trixie'] },
      { tool: 'bindgen', has: '0.60.1', needs: '0.65.1', releases: ['trixie'] },
    ]);
    expect(oldTools(script, variables, { debian: 'bookworm', llvm: 16 }, false)).toEqual([
      { tool: 'llvm', has: '16', needs: '17.0.1', releases: [] },
    ]);
  });
});
