import { createReadStream } from 'node:fs';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import type { ExpectedContent, StoredFile } from '../host/store.ts';
import { sourceCodes } from './codes.ts';
import { localFailure } from './local-failure.ts';

export type ArchiveFormat = 'tar' | 'tar.xz' | 'tar.gz' | 'tar.bz2' | 'tar.zst';

/** What a file begins with. Sources: .xz file format 2.1.1.1, RFC 1952, bzip2 manual, RFC 8878, POSIX ustar. */
const magics: readonly {
  readonly format: ArchiveFormat;
  readonly at: number;
  readonly bytes: readonly number[];
}[] = [
  { format: 'tar.xz', at: 0, bytes: [0xfd, 0x37, 0x7a, 0x58, 0x5a, 0x00] },
  { format: 'tar.gz', at: 0, bytes: [0x1f, 0x8b, 0x08] },
  { format: 'tar.bz2', at: 0, bytes: [0x42, 0x5a, 0x68] },
  { format: 'tar.zst', at: 0, bytes: [0x28, 0xb5, 0x2f, 0xfd] },
  { format: 'tar', at: 257, bytes: [0x75, 0x73, 0x74, 0x61, 0x72] },
];
const headBytes = 512;

/** The format of an archive by its first 512 bytes, whatever its name says; `undefined` when it is none of these. */
export function archiveFormat(head: Uint8Array): ArchiveFormat | undefined {
  return magics.find(({ at, bytes }) => bytes.every((byte, place) => head[at + place] === byte))?.format;
}

/**
 * Brings an archive file of this machine into the store.
 * @param path absolute
 * @param expected what it was pinned with, if it was
 * @throws Failure `source/local-file`, `source/not-an-archive`, and what the store throws
 */
export async function storeTarball(
  host: Host,
  path: string,
  expected: ExpectedContent = {},
): Promise<StoredFile & { readonly format: ArchiveFormat }> {
  let format: ArchiveFormat | undefined;
  const stored = await host.store.add(
    readArchive(host, path, (found) => (format = found)),
    expected,
  );
  if (format === undefined) throw new Error(`nothing was read from ${path}`);
  return { ...stored, format };
}

async function* readArchive(
  host: Host,
  path: string,
  onFormat: (format: ArchiveFormat) => void,
): AsyncGenerator<Uint8Array> {
  let head: Buffer | undefined = Buffer.alloc(0);
  try {
    for await (const chunk of createReadStream(path) as AsyncIterable<Buffer>) {
      host.signal.throwIfAborted();
      if (!head) {
        yield chunk;
        continue;
      }
      head = Buffer.concat([head, chunk]);
      if (head.length < headBytes) continue;
      onFormat(assertFormat(head, path));
      yield head;
      head = undefined;
    }
  } catch (error) {
    throw localFailure(error, path);
  }
  // Also a file that ends within its head.
  if (!head) return;
  onFormat(assertFormat(head, path));
  yield head;
}

function assertFormat(head: Uint8Array, path: string): ArchiveFormat {
  const format = archiveFormat(head);
  if (format) return format;
  throw new Failure(
    sourceCodes.report('source/not-an-archive', {
      message: `${quoted(path, 120)} is no tar archive that can be unpacked`,
      notes: ['By its first bytes it is neither a tar file nor one compressed with xz, gzip, bzip2 or zstd.'],
      help: 'Name the source archive itself; a signature or a list of digests beside it has a similar name.',
    }),
  );
}
