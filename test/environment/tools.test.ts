import { readFileSync } from 'node:fs';

import { describe, expect, it } from 'vitest';

import { releaseTools, toolFacts, tools } from '../../src/environment/tools.ts';
import { debianReleases } from '../../src/spec/spec.ts';
import { aptRoot, orSkip } from '../oracle/apt-root.ts';

/** The upstream versions of a package in Packages files. */
function versionsOf(name: string, texts: readonly string[]): readonly string[] {
  return texts.flatMap((text) => {
    const at = text.indexOf(`\nPackage: ${name}\n`);
    return at < 0 ? [] : (/^Version: (?:\d+:)?(\S+)$/mu.exec(text.slice(at, at + 4096))?.[1] ?? []);
  });
}

describe('releaseTools', () => {
  // Debian's Packages files
  it.for(debianReleases)('are those of Debian %s', { timeout: 120_000 }, async (release, context) => {
    const { packagesFiles } = await orSkip(context, aptRoot(release));
    const texts = packagesFiles.map((file) => `\n${readFileSync(file, 'latin1')}`);
    const names: Readonly<Record<string, (version: string) => readonly string[]>> = {
      binutils: () => ['binutils'],
      gcc: (version) => [`gcc-${Number.parseInt(version, 10)}`],
      llvm: (version) => [`clang-${Number.parseInt(version, 10)}`],
    };
    for (const tool of tools) {
      for (const version of [releaseTools[release][tool]].flat()) {
        for (const name of names[tool]?.(version) ?? toolFacts[tool].packages) {
          const found = versionsOf(name, texts).some((one) => /^[\d.]*/u.exec(one)?.[0].startsWith(version));
          expect([name, version, found]).toEqual([name, version, true]);
        }
      }
    }
  });
});
