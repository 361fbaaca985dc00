import { createHash, type Hash } from 'node:crypto';
import { rm, type FileHandle } from 'node:fs/promises';

import { Failure } from '../diagnostics/catalogue.ts';
import { fetchCodes } from './fetch-codes.ts';
import { formatBytes } from './quantities.ts';
import { storeFailure } from './store-failure.ts';

/** A file on its way into the store. It comes in pieces; when a piece is missing, the next one can begin where it ends. */
export class Incoming {
  readonly path: string;
  /** Bytes that may come. */
  readonly most: number;
  readonly #store: string;
  readonly #handle: FileHandle;
  #hash: Hash = createHash('sha256');
  #size = 0;
  #sha256: string | undefined;

  /** @param store folder of the store, for messages */
  constructor(store: string, path: string, handle: FileHandle, most: number) {
    this.#store = store;
    this.path = path;
    this.#handle = handle;
    this.most = most;
  }

  /** Bytes that have come. */
  get size(): number {
    return this.#size;
  }

  /** @throws Failure `host/wrong-size` when there are too many, `host/store-full`, `host/store-denied`, `host/store-failed` */
  async append(chunk: Uint8Array): Promise<void> {
    if (this.#size + chunk.length > this.most) throw tooLong(this.most);
    await this.#attempt(async () => {
      for (let at = 0; at < chunk.length;) {
        const left = chunk.length - at;
        at += (await this.#handle.write(chunk, at, left, this.#size + at)).bytesWritten;
      }
    });
    this.#hash.update(chunk);
    this.#size += chunk.length;
  }

  /** Forgets what has come. */
  async restart(): Promise<void> {
    await this.#attempt(() => this.#handle.truncate(0));
    this.#hash = createHash('sha256');
    this.#size = 0;
  }

  /** Everything has come, and is on the disk, where it can be read. @returns its SHA-256 */
  async finish(): Promise<string> {
    if (this.#sha256 !== undefined) return this.#sha256;
    await this.#attempt(() => this.#handle.sync());
    await this.#handle.close();
    this.#sha256 = this.#hash.digest('hex');
    return this.#sha256;
  }

  /** Leaves nothing behind; nothing happens to what was kept. */
  async drop(): Promise<void> {
    await this.#handle.close().catch(() => undefined);
    await rm(this.path, { force: true });
  }

  async #attempt<T>(work: () => Promise<T>): Promise<T> {
    try {
      return await work();
    } catch (error) {
      throw storeFailure(this.#store, error);
    }
  }
}

function tooLong(most: number): Failure {
  return new Failure(
    fetchCodes.report('host/wrong-size', {
      message: `the content goes on after the ${most} bytes (${formatBytes(most)}) that it should have`,
    }),
  );
}
