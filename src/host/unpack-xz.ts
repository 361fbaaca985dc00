import { Readable } from 'node:stream';

import xz from 'xz-decompress';

import { Failure } from '../diagnostics/catalogue.ts';
import { filtered } from './processes.ts';

/** XZ Utils use all processors and have a limit of memory then; other programs of that name do not know of this. */
const settings = '--threads=0 --memlimit-decompress=1GiB';

const notStarted: ReadonlySet<string> = new Set(['host/program-missing', 'host/program-not-started']);

/**
 * The content of a stream that is compressed with xz, in pieces: by the program where there is one, else by its like in
 * WebAssembly, with which reading a kernel's source takes more than twice as long.
 *
 * @throws Error when it is no such stream, is cut off or damaged
 */
export async function* unpackXz(file: Readable): AsyncGenerator<Uint8Array, void> {
  const env = { ...process.env, LC_ALL: 'C', XZ_DEFAULTS: undefined, XZ_OPT: settings };
  try {
    yield* filtered('xz', ['-d', '-c'], file, env);
  } catch (error) {
    const isMissing = error instanceof Failure && error.diagnostics.some(({ code }) => notStarted.has(code));
    if (!isMissing) throw error;
    yield* unpackXzHere(file);
  }
}

/**
 * The same without a program, which takes longer to start than a few kilobytes take.
 *
 * @throws Error when it is no such stream, is cut off or damaged
 */
export function unpackXzHere(file: Readable): AsyncIterable<Uint8Array> {
  return new xz.XzReadableStream(Readable.toWeb(file));
}
