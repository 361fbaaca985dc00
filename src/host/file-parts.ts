import { closeSync, fstatSync, openSync, readSync } from 'node:fs';

/** A file whose parts are read when they are asked for, so that not all of it has to come into memory. */
export class FileParts {
  readonly path: string;
  /** Bytes. */
  readonly length: number;

  /** @throws NodeJS.ErrnoException when there is no such file, or it may not be read */
  constructor(path: string) {
    this.path = path;
    this.length = withFile(path, (file) => fstatSync(file).size);
  }

  /**
   * The bytes from `start` on, up to `end`.
   * @throws NodeJS.ErrnoException when the file cannot be read any more; Error when it has become shorter
   */
  subarray(start: number, end: number): Uint8Array {
    const part = Buffer.allocUnsafe(end - start);
    return withFile(this.path, (file) => {
      for (let done = 0; done < part.length;) {
        const count = readSync(file, part, done, part.length - done, start + done);
        if (count === 0) throw new Error(`${this.path} has become shorter while it was read`);
        done += count;
      }
      return part;
    });
  }
}

function withFile<T>(path: string, use: (file: number) => T): T {
  const file = openSync(path, 'r');
  try {
    return use(file);
  } finally {
    closeSync(file);
  }
}
