import { closeSync, fstatSync, openSync, readSync, type Stats } from 'node:fs';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { fetchCodes } from './fetch-codes.ts';

/**
 * A file whose parts are read when they are asked for, so that not all of it has to come into memory. It stays the file
 * that it was when this was made: another one, or a changed one, is not read.
 */
export class FileParts {
  /** Bytes. */
  readonly length: number;
  readonly #path: string;
  readonly #before: Stats;

  /** @throws NodeJS.ErrnoException when there is no such file, or it may not be read */
  constructor(path: string) {
    this.#path = path;
    this.#before = withFile(path, (file) => fstatSync(file));
    this.length = this.#before.size;
  }

  /**
   * The bytes from `start` on, up to `end`.
   * @throws Failure `host/store-failed` when the file is gone or was changed
   */
  subarray(start: number, end: number): Uint8Array {
    const part = Buffer.allocUnsafe(end - start);
    try {
      withFile(this.#path, (file) => {
        if (!isSame(fstatSync(file), this.#before)) throw new Error('it was changed');
        for (let done = 0; done < part.length;) {
          const count = readSync(file, part, done, part.length - done, start + done);
          if (count === 0) throw new Error('it has become shorter');
          done += count;
        }
      });
    } catch (error) {
      throw new Failure(
        fetchCodes.report('host/store-failed', {
          message: `${quoted(this.#path, 160)} was changed or removed while it was in use`,
          help: 'Run the same again: what the store lacks comes back.',
        }),
        { cause: error },
      );
    }
    return part;
  }
}

/** Milliseconds: to note that a file was used, its time is written anew, not in all digits. */
const sameTime = 2;

function isSame(now: Stats, before: Stats): boolean {
  const changed = Math.abs(now.mtimeMs - before.mtimeMs) > sameTime;
  return now.dev === before.dev && now.ino === before.ino && now.size === before.size && !changed;
}

function withFile<T>(path: string, use: (file: number) => T): T {
  const file = openSync(path, 'r');
  try {
    return use(file);
  } finally {
    closeSync(file);
  }
}
