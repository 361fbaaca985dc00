/** The tar inside of a file that is one, or one that is compressed. */
import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { open } from 'node:fs/promises';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { sourceCodes } from './codes.ts';
import { decompress, type Compression } from './decompress.ts';
import { archiveFormat } from './local-tarball.ts';

/** Bytes. A kernel's tar has a fifth of that; a few bytes can unpack to more than any disk holds. */
export const mostTar: number = 8 * 2 ** 30;

const compressions: Readonly<Record<string, Compression | undefined>> = {
  tar: 'none',
  'tar.gz': 'gzip',
  'tar.xz': 'xz',
};

/**
 * How a file is compressed, by its first bytes.
 * @param name of the file in messages
 * @throws Failure `source/not-an-archive`, `source/unread-compression`
 */
export async function compressionOfTar(path: string, name: string): Promise<Compression> {
  const head = Buffer.alloc(512);
  const handle = await open(path);
  let bytesRead = 0;
  try {
    ({ bytesRead } = await handle.read(head, 0, head.length, 0));
  } finally {
    await handle.close();
  }
  const format = archiveFormat(head.subarray(0, bytesRead));
  if (format === undefined) {
    throw new Failure(
      sourceCodes.report('source/not-an-archive', {
        message: `${quoted(name, 160)} is no tar archive that can be unpacked`,
        notes: ['By its first bytes it is neither a tar file nor one compressed with xz or gzip.'],
        help: 'Name the source archive itself; a signature or a list of digests beside it has a similar name.',
      }),
    );
  }
  const compression = compressions[format];
  if (compression !== undefined) return compression;
  throw new Failure(
    sourceCodes.report('source/unread-compression', {
      message: `${quoted(name, 160)} is compressed as ${format}, which cannot be read here`,
      help: 'Name one that is compressed with xz or gzip, or not at all.',
    }),
  );
}

export interface Measured {
  readonly sha256: string;
  /** Bytes. */
  readonly size: number;
}

/** Reads a tar, as often as it is asked for, and tells digest and size of what went by in the last whole pass. */
export class TarContent {
  readonly #path: string;
  readonly #name: string;
  readonly #compression: Compression;
  readonly #signal: AbortSignal;
  readonly #most: number;
  #measured: Measured | undefined;

  /** @param name in messages; `most` bytes that it may unpack to */
  constructor(
    path: string,
    name: string,
    compression: Compression,
    signal: AbortSignal,
    most: number = mostTar,
  ) {
    this.#path = path;
    this.#name = name;
    this.#compression = compression;
    this.#signal = signal;
    this.#most = most;
  }

  /** The tar. @throws Failure `source/not-an-archive`, `source/too-large`; the reason of the signal */
  async *read(): AsyncGenerator<Uint8Array> {
    const hash = createHash('sha256');
    let size = 0;
    try {
      for await (const chunk of decompress(this.#path, this.#compression, this.#most)) {
        this.#signal.throwIfAborted();
        hash.update(chunk);
        size += chunk.length;
        if (size > this.#most) throw tooLarge(this.#name, this.#most);
        yield chunk;
      }
    } catch (error) {
      this.#signal.throwIfAborted();
      throw error instanceof Failure ? error : cutOff(this.#name, this.#compression, error);
    }
    this.#measured = { sha256: hash.digest('hex'), size };
  }

  /** The file as it is. */
  readFile(): AsyncIterable<Uint8Array> {
    return createReadStream(this.#path);
  }

  /** @throws as `read` does */
  async measure(): Promise<Measured> {
    if (this.#measured) return this.#measured;
    for await (const _ of this.read());
    if (!this.#measured) throw new Error('the tar was not read to its end');
    return this.#measured;
  }
}

/** Digest and size of the tar inside a file. @throws as `TarContent` and `compressionOfTar` do */
export async function measureTar(path: string, name: string, signal: AbortSignal): Promise<Measured> {
  return new TarContent(path, name, await compressionOfTar(path, name), signal).measure();
}

function cutOff(name: string, compression: Compression, error: unknown): Failure {
  return new Failure(
    sourceCodes.report('source/not-an-archive', {
      message: `${quoted(name, 160)} cannot be unpacked as ${compression}: it is damaged, or cut off`,
      notes: [`The reader says: ${error instanceof Error ? error.message : String(error)}.`],
      help: 'Fetch it again, or from another place.',
    }),
    { cause: error },
  );
}

function tooLarge(name: string, most: number): Failure {
  return new Failure(
    sourceCodes.report('source/too-large', {
      message: `${quoted(name, 160)} unpacks to more than ${most} bytes, which no kernel does`,
      help: 'See what it is: it is no source of a kernel.',
    }),
  );
}
