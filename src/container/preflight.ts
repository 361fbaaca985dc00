import { statfs } from 'node:fs/promises';

import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { containerCodes } from './codes.ts';
import type { Engine } from './engine.ts';

const gibibyte = 1024 ** 3;

/** Memory that one compiler takes at its worst, and the final link beside them (from memory). */
const perJob = 0.4 * gibibyte;
const link = 1.5 * gibibyte;

/**
 * Is there room for this build? Looked at before anything is started; the build script looks at the disk again,
 * from inside the container.
 *
 * @param needed kilobytes of disk that the build takes, roughly
 */
export async function checkRoom(
  engine: Engine,
  needed: number,
  jobs: number,
): Promise<readonly Diagnostic[]> {
  const found: Diagnostic[] = [];
  const { dataFolder } = engine;
  const free = dataFolder === undefined ? undefined : await freeKilobytes(dataFolder);
  if (free !== undefined && free < needed) {
    found.push(
      containerCodes.report('container/disk-short', {
        message: `${dataFolder} has ${mebibytes(free)} MiB free, and this build takes about ${mebibytes(needed)} MiB`,
        notes: [`There ${engine.name} keeps its images and the folders that it builds in.`],
        help: 'Make room there (old images and volumes are the usual suspects), or give the engine another data folder.',
      }),
    );
  }
  const wanted = link + jobs * perJob;
  if (engine.memory > 0 && engine.memory < wanted) {
    found.push(
      containerCodes.report('container/memory-short', {
        message: `the machine has ${mebibytes(engine.memory / 1024)} MiB of memory; ${jobs} compilers at once may take ${mebibytes(wanted / 1024)} MiB`,
        help: 'Fewer compilers at once (--jobs) need less.',
      }),
    );
  }
  return found;
}

/** Of the file system that holds a folder; nothing when it is not on this machine or cannot be looked at. */
async function freeKilobytes(folder: string): Promise<number | undefined> {
  try {
    const { bavail, bsize } = await statfs(folder);
    return (bavail * bsize) / 1024;
  } catch {
    return undefined;
  }
}

function mebibytes(kilobytes: number): string {
  return String(Math.round(kilobytes / 1024));
}
