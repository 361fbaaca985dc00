import { Readable } from 'node:stream';

import type { Compression } from './decompress.ts';
import { archiveFormat } from './local-tarball.ts';

/**
 * The content of a file that may be compressed, as /proc/config.gz and the configurations of Debian's packages are.
 * What it is compressed with is told by its first bytes.
 *
 * @param most bytes that it may unpack to
 * @throws Error in words that go behind the file's name
 */
export async function unpackedFile(bytes: Uint8Array, most: number): Promise<Uint8Array> {
  const compression = compressionOf(bytes);
  if (compression === 'none') return bytes;
  // loaded only here: most files are as they are
  const { decompressStream } = await import('./decompress.ts');
  const chunks: Uint8Array[] = [];
  let size = 0;
  try {
    for await (const chunk of decompressStream(Readable.from([bytes]), compression)) {
      size += chunk.length;
      if (size > most) break;
      chunks.push(chunk);
    }
  } catch (error) {
    throw new Error(`it cannot be unpacked as ${compression}`, { cause: error });
  }
  if (size > most) throw new Error(`it unpacks to more than ${most} bytes`);
  return Buffer.concat(chunks);
}

function compressionOf(bytes: Uint8Array): Compression {
  switch (archiveFormat(bytes)) {
    case 'tar.xz':
      return 'xz';
    case 'tar.gz':
      return 'gzip';
    case 'tar.bz2':
    case 'tar.zst':
      throw new Error('it is compressed in a way that is not read here: xz and gzip are');
    case 'tar':
      throw new Error('it is a tar archive');
    case undefined:
      return 'none';
  }
}
