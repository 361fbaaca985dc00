/**
 * Packs a source tree of this machine as a tar that depends on the files alone: entries sorted by path, owner 0, two
 * modes (may be executed or not), one time for all. The same tree gives the same bytes, whatever the order of its
 * folders on disk, its owner and the umask of whoever laid it out.
 */
import { createReadStream } from 'node:fs';
import { lstat, readdir, readlink, realpath } from 'node:fs/promises';
import path from 'node:path';
import { pack, type Header as FullHeader, type Pack } from 'tar-stream';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import type { ExpectedContent, StoredFile } from '../host/store.ts';
import { sourceCodes } from './codes.ts';
import { localFailure } from './local-failure.ts';

export interface TreeOptions {
  /** Seconds since 1970 that every entry is dated with; the newest time in the tree when absent. */
  readonly epoch?: number | undefined;
}

type Header = Partial<FullHeader> & Pick<FullHeader, 'name'>;

interface Entry {
  /** Relative to the tree, `/` between its parts. */
  readonly name: string;
  readonly header: Header;
  /** Milliseconds since 1970. */
  readonly mtime: number;
}

/** The folder that everything lies in, as in a source archive. */
const topFolder = 'linux';
/** What belongs to the version control of whoever has the tree, not to the source. */
const leftOut = '.git';

/** All entries of the tree, sorted by path so that a folder comes before what is in it. */
async function listTree(host: Host, root: string): Promise<readonly Entry[]> {
  const entries: Entry[] = [await readEntry(root, '')];
  const queue = [''];
  for (let folder = queue.pop(); folder !== undefined; folder = queue.pop()) {
    host.signal.throwIfAborted();
    for (const found of await readdir(path.join(root, folder), { withFileTypes: true })) {
      if (found.name === leftOut) continue;
      const name = folder === '' ? found.name : `${folder}/${found.name}`;
      if (found.isDirectory()) queue.push(name);
      entries.push(await readEntry(root, name));
    }
  }
  return entries.sort((a, b) => (a.name < b.name ? -1 : 1));
}

async function readEntry(root: string, name: string): Promise<Entry> {
  const full = path.join(root, name);
  if (name.includes('\ufffd')) throw special(full, 'has a name that is not UTF-8');
  const stats = await lstat(full);
  const owner = { uid: 0, gid: 0, uname: '', gname: '' };
  const packed = name === '' ? topFolder : `${topFolder}/${name}`;
  const entry = (header: Omit<Header, 'name'>): Entry => ({
    name,
    mtime: stats.mtimeMs,
    header: { name: packed, ...owner, ...header },
  });
  if (stats.isDirectory()) return entry({ type: 'directory', mode: 0o755 });
  if (stats.isSymbolicLink()) {
    const linkname = await readlink(full);
    if (linkname.includes('\ufffd')) throw special(full, 'is a link to a name that is not UTF-8');
    return entry({ type: 'symlink', mode: 0o777, linkname });
  }
  if (!stats.isFile()) throw special(full, 'is a device, a socket or a pipe');
  const mode = (stats.mode & 0o100) === 0 ? 0o644 : 0o755;
  return entry({ type: 'file', mode, size: stats.size });
}

function special(full: string, what: string): Failure {
  return new Failure(
    sourceCodes.report('source/special-file', {
      message: `${quoted(full, 160)} ${what}, which no source archive can hold`,
      help: 'Remove it, or name a clean copy of the tree.',
    }),
  );
}

/** Writes one after the other; what is read of a file must be as long as its header says. */
async function writeEntries(
  host: Host,
  root: string,
  entries: readonly Entry[],
  mtime: Date,
  tar: Pack,
): Promise<void> {
  for (const { name, header } of entries) {
    host.signal.throwIfAborted();
    const dated = { ...header, mtime };
    if (header.type !== 'file') tar.entry(dated);
    // An empty file is whole with its header.
    else if (header.size === 0) tar.entry(dated, '');
    else await writeFile(path.join(root, name), dated, tar);
  }
  tar.finalize();
}

async function writeFile(full: string, header: Header, tar: Pack): Promise<void> {
  const file = createReadStream(full);
  try {
    await new Promise<void>((resolve, reject) => {
      const entry = tar.entry(header, (error) => (error ? reject(error) : resolve()));
      file.on('error', reject);
      file.on('data', (chunk) => {
        if (!entry.write(chunk)) file.pause();
      });
      file.on('end', () => entry.end(undefined));
      entry.on('drain', () => file.resume());
    });
  } catch (error) {
    if (!(error instanceof Error) || error.message !== 'Size mismatch') throw error;
    const message = `${quoted(full, 160)} changed while it was read`;
    throw new Failure(sourceCodes.report('source/local-changed', { message }), { cause: error });
  } finally {
    file.destroy();
  }
}

/** The streams of tar-stream do not say what they carry. */
async function* bytesOf(tar: AsyncIterable<unknown>): AsyncGenerator<Uint8Array> {
  for await (const chunk of tar) {
    if (!(chunk instanceof Uint8Array)) throw new TypeError('a tar stream carries bytes');
    yield chunk;
  }
}

/**
 * Packs the tree in `folder` into the store; `.git` stays out.
 * @param folder absolute path
 * @param expected what it was pinned with, if it was
 * @throws Failure `source/local-file`, `source/special-file`, and what the store throws
 */
export async function storeTree(
  host: Host,
  folder: string,
  { epoch }: TreeOptions = {},
  expected: ExpectedContent = {},
): Promise<StoredFile> {
  try {
    // The folder itself may be named by a link.
    const root = await realpath(folder);
    const entries = await listTree(host, root);
    const newest = entries.reduce((latest, entry) => Math.max(latest, entry.mtime), 0);
    const mtime = new Date((epoch ?? Math.floor(newest / 1000)) * 1000);
    const tar = pack();
    const written = writeEntries(host, root, entries, mtime, tar).catch((error: unknown) => {
      tar.destroy(error instanceof Error ? error : new Error(String(error)));
      throw error;
    });
    const [stored] = await Promise.all([host.store.add(bytesOf(tar), expected), written]);
    return stored;
  } catch (error) {
    throw localFailure(error, folder);
  }
}
