/** What is asked of each hostile archive, in a small sample and in a thousand. */
import { spawnSync } from 'node:child_process';
import { lstatSync, mkdirSync, readdirSync, readlinkSync, rmSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';

import fc from 'fast-check';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { filesOfArchive, packOfArchive } from '../../src/source/read-pack.ts';
import { hostileArchive } from './hostile-archives.ts';

const signal = new AbortController().signal;
/** Milliseconds: a second, and the same again for a machine that has other things to do. */
const longest = 2_000;

/**
 * Reads `runs` archives as sources. Each must be read or refused in words with exit code 4, in time, and nothing is written.
 * One that is read is unpacked by GNU tar (which is what a kit does), with nothing outside of the folder afterwards, no link
 * that leads out of it, and no device.
 *
 * @returns how many were read to their end
 */
export async function judgeArchives(folder: string, runs: number): Promise<number> {
  let read = 0;
  const file = join(folder, 'hostile');
  await fc.assert(
    fc.asyncProperty(hostileArchive, async (archive) => {
      writeFileSync(file, archive);
      const started = performance.now();
      const names = await answer(filesOfArchive(file, () => true, signal, 'hostile'));
      await answer(packOfArchive(file, '0'.repeat(64), signal, 'hostile'));
      if (performance.now() - started > longest) throw new Error('it took too long');
      if (names === undefined) return;
      read += 1;
      unpackOutside(folder, file);
    }),
    { numRuns: runs, seed: 61 },
  );
  return read;
}

async function answer<T>(work: Promise<T>): Promise<T | undefined> {
  try {
    return await work;
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    for (const { exit, message } of error.diagnostics) {
      if (exit !== 4 || /\n|\bat .*:\d+:\d+/u.test(message))
        throw new Error(`badly refused: ${message}`, { cause: error });
    }
    return undefined;
  }
}

/** As `templates/kit/tree.hbs` has it. @throws Error when something came of it elsewhere */
function unpackOutside(folder: string, file: string): void {
  const home = join(folder, 'a/b/c');
  mkdirSync(home, { recursive: true });
  try {
    spawnSync('tar', ['-x', '--no-same-owner', '-C', home, '--strip-components=1', '-f', file]);
    for (const [place, only] of [
      [folder, ['a', 'hostile']],
      [join(folder, 'a'), ['b']],
      [join(folder, 'a/b'), ['c']],
    ] as const) {
      if (readdirSync(place).some((name) => !only.includes(name as never)))
        throw new Error(`it wrote to ${place}`);
    }
    for (const name of readdirSync(home, { recursive: true, encoding: 'utf8' })) {
      const path = join(home, name);
      const found = lstatSync(path);
      if (!found.isFile() && !found.isDirectory() && !found.isSymbolicLink())
        throw new Error(`${name} is special`);
      if (!found.isSymbolicLink()) continue;
      const target = resolve(path, '..', readlinkSync(path));
      if (target !== home && !target.startsWith(`${home}/`)) throw new Error(`${name} leads to ${target}`);
    }
  } finally {
    rmSync(join(folder, 'a'), { recursive: true, force: true });
  }
}
