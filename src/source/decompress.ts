import { createReadStream } from 'node:fs';
import type { Readable, Transform } from 'node:stream';
import zlib from 'node:zlib';

import { unpackXz } from '../host/unpack-xz.ts';

export type Compression = 'xz' | 'gzip' | 'zstd' | 'none';

/** Node has zstd from 22.15 on, which the types of Node 20 do not know. */
const { createZstdDecompress } = zlib as { readonly createZstdDecompress?: () => Transform };

/** Whether this version of Node can read it. */
export function canRead(compression: Compression): boolean {
  return compression !== 'zstd' || createZstdDecompress !== undefined;
}

/**
 * The content of a compressed file, in pieces. It ends with the first piece that goes past `most` bytes, which is still
 * handed out: a few bytes can unpack to more than any disk holds.
 * @throws Error when the compressed data cannot be read
 */
export async function* decompress(
  path: string,
  compression: Compression,
  most: number,
): AsyncGenerator<Uint8Array> {
  const file = createReadStream(path, { highWaterMark: 1 << 18 });
  let size = 0;
  try {
    for await (const chunk of decompressStream(file, compression)) {
      size += chunk.length;
      yield chunk;
      if (size > most) return;
    }
  } finally {
    file.destroy();
  }
}

/** The content of a compressed stream, in pieces; there is no end to what it may unpack to. */
export function decompressStream(file: Readable, compression: Compression): AsyncIterable<Uint8Array> {
  switch (compression) {
    case 'none':
      return file;
    case 'gzip':
    case 'zstd': {
      const unpacked = compression === 'gzip' ? zlib.createGunzip() : createZstdDecompress?.();
      if (!unpacked) throw new Error('this version of Node cannot read zstd');
      // `pipe` does not hand on an error of the file.
      return file.on('error', (error) => unpacked.destroy(error)).pipe(unpacked);
    }
    case 'xz':
      return unpackXz(file);
  }
}
