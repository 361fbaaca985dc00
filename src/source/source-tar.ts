/** The tar of a kernel source, read as a stream: plain, compressed, or taken out of a Debian package. */
import { createReadStream } from 'node:fs';
import { open, writeFile, type FileHandle } from 'node:fs/promises';
import type { Readable } from 'node:stream';

import { arHeaderSize, arMagic, readArHeader } from '../archive/ar.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { bytesOf, insideOnly, tarMembers, UnsafeArchive } from '../host/tar-members.ts';
import { sourceCodes } from './codes.ts';
import { decompressStream, type Compression } from './decompress.ts';
import { archiveFormat } from './local-tarball.ts';
import { mostTar } from './tar-content.ts';

export interface SourceEntry {
  /** Relative to the root of the tree. */
  readonly path: string;
  readonly kind: 'file' | 'link';
  readonly executable: boolean;
  readonly size: number;
  /** Seconds since 1970. */
  readonly time: number;
  /** Where a link leads. */
  readonly target: string;
  /** The content; it has to be read, or else is passed over. */
  readonly content: AsyncIterable<Uint8Array>;
}

/** Of a kernel's source: trees have a fifth of the bytes, and a tenth of the files. */
const most = { bytes: mostTar, members: 1_000_000 };

const read = { highWaterMark: 1 << 18 };

/**
 * The files and links of a source archive, one after the other. What is unpacked somewhere by a kit was read here before.
 *
 * @param path of a tar archive, which may be compressed
 * @param exact nothing is passed over: it has one folder with files, folders and symbolic links
 * @throws UnsafeArchive when a member would leave the tree, and when there is no end to it
 * @throws Failure `source/not-an-archive`, `source/unread-compression`
 * @throws the reason of `signal` when that is aborted
 */
export async function* sourceEntries(
  path: string,
  signal: AbortSignal,
  { exact = false }: { readonly exact?: boolean } = {},
): AsyncGenerator<SourceEntry> {
  const assertInside = insideOnly(1);
  let top: string | undefined;
  for await (const entry of tarMembers(await openArchive(path), signal, most)) {
    assertInside(entry.header);
    const inside = strippedPath(entry.header.name);
    const { type, mode, size, mtime, linkname } = entry.header;
    top ??= /^[^/]*/u.exec(entry.header.name)?.[0];
    if (
      exact &&
      !(/^(?:file|directory|symlink)$/u.test(type ?? '') && entry.header.name.startsWith(`${top}/`))
    )
      throw new UnsafeArchive(
        `it has ${quoted(entry.header.name, 160)}, which is neither file, folder nor link of its tree`,
      );
    if (inside === undefined || (type !== 'file' && type !== 'contiguous-file' && type !== 'symlink'))
      continue;
    yield {
      path: inside,
      kind: type === 'symlink' ? 'link' : 'file',
      executable: ((mode ?? 0) & 0o100) !== 0,
      size: size ?? 0,
      time: Math.max(0, Math.floor((mtime?.getTime() ?? 0) / 1000)),
      target: linkname ?? '',
      content: bytesOf(entry),
    };
  }
}

async function openArchive(path: string): Promise<AsyncIterable<Uint8Array>> {
  const handle = await open(path);
  try {
    const head = await readHead(handle, 0);
    return decompressed(() => createReadStream(path, read), head, path);
  } finally {
    await handle.close();
  }
}

/**
 * Debian's source packages hold the tarball under its own name. It is taken out before it is read: the decompressor
 * works on one stream at a time, and both are compressed with it.
 *
 * @param debianPackage `linux-source-6.1`
 * @param target is written
 * @throws Failure `source/not-an-archive`, `source/unread-compression`
 */
export async function extractDebianSource(
  path: string,
  debianPackage: string,
  target: string,
  signal: AbortSignal,
): Promise<void> {
  const wanted = `usr/src/${debianPackage}.tar.xz`;
  for await (const entry of tarMembers(await openDataMember(path), signal, most)) {
    if (entry.header.name.replace(/^\.\//, '') !== wanted) continue;
    await writeFile(target, bytesOf(entry));
    return;
  }
  throw unusable(path, `it has no ${wanted}`);
}

/**
 * Files of a Debian package below one of its folders, each whole.
 *
 * @param path of the package
 * @param folder such as `usr/src/linux-config-6.1/`
 * @param largest bytes that one of them may have
 * @returns name in the folder to content
 * @throws Failure `source/not-an-archive`, `source/unread-compression`
 */
export async function debianFiles(
  path: string,
  folder: string,
  largest: number,
  signal: AbortSignal,
): Promise<ReadonlyMap<string, Uint8Array>> {
  const files = new Map<string, Uint8Array>();
  for await (const entry of tarMembers(await openDataMember(path), signal, most)) {
    const { name, type, size } = entry.header;
    const inside = name.replace(/^\.\//, '');
    if (type !== 'file' || !inside.startsWith(folder) || size > largest) continue;
    const chunks: Uint8Array[] = [];
    for await (const chunk of bytesOf(entry)) chunks.push(chunk);
    files.set(inside.slice(folder.length), Buffer.concat(chunks));
  }
  return files;
}

/** The data of a Debian package (deb(5)): an ar archive with a member `data.tar`, compressed in one of several ways. */
async function openDataMember(path: string): Promise<AsyncIterable<Uint8Array>> {
  const handle = await open(path);
  try {
    const magic = await readBytes(handle, 0, arMagic.length);
    if (magic.toString('latin1') !== arMagic) throw unusable(path, 'it is no Debian package');
    let at = arMagic.length;
    for (;;) {
      const member = readArHeader(await readBytes(handle, at, arHeaderSize));
      if (!member) throw unusable(path, 'it has no member data.tar');
      at += arHeaderSize;
      if (member.name.startsWith('data.tar')) {
        const head = await readHead(handle, at);
        const range = { start: at, end: at + member.size - 1 };
        return decompressed(() => createReadStream(path, { ...read, ...range }), head, path);
      }
      at += member.size + (member.size % 2);
    }
  } finally {
    await handle.close();
  }
}

function decompressed(file: () => Readable, head: Uint8Array, path: string): AsyncIterable<Uint8Array> {
  const format = archiveFormat(head);
  if (format === undefined) {
    throw unusable(path, 'by its first bytes it is no tar archive, and none that is compressed');
  }
  const compression = compressions[format];
  if (compression !== undefined) return decompressStream(file(), compression);
  throw new Failure(
    sourceCodes.report('source/unread-compression', {
      message: `${quoted(path, 120)} is compressed as ${format}, which cannot be read here`,
      notes: ['A build unpacks it in its environment; the configuration is worked out on this machine.'],
      help: 'Compress it with xz or gzip, or unpack it and name the tree.',
    }),
  );
}

const compressions: Readonly<Record<string, Compression | undefined>> = {
  tar: 'none',
  'tar.gz': 'gzip',
  'tar.xz': 'xz',
};

async function readBytes(handle: FileHandle, at: number, length: number): Promise<Buffer> {
  const { buffer, bytesRead } = await handle.read(Buffer.alloc(length), 0, length, at);
  return buffer.subarray(0, bytesRead);
}

const readHead = (handle: FileHandle, at: number): Promise<Buffer> => readBytes(handle, at, 512);

/** Without the folder that everything in a source archive lies in. */
function strippedPath(name: string): string | undefined {
  const path = name.replace(/^(?:\.\/)+/, '');
  const at = path.indexOf('/');
  return at < 0 || at === path.length - 1 ? undefined : path.slice(at + 1);
}

function unusable(path: string, why: string): Failure {
  return new Failure(
    sourceCodes.report('source/not-an-archive', {
      message: `${quoted(path, 120)} holds no kernel source that can be read: ${why}`,
      help: 'Fetch the source again, or name another one.',
    }),
  );
}
