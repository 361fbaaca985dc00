/** Reads the archive of a source. */
import { buffer } from 'node:stream/consumers';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { UnsafeArchive } from '../host/tar-members.ts';
import { isPackPath, type Pack, type PackFile } from '../kconfig/pack.ts';
import { sourceCodes } from './codes.ts';
import { collectPack, largestPack, tooLarge, type EntrySource } from './collect-pack.ts';
import { sourceEntries } from './source-tar.ts';

/**
 * The pack of a source archive.
 *
 * @param sha256 of the source, which the pack will say it is of
 * @param name of the archive in messages
 * @throws Failure `source/not-an-archive`, and what `collectPack` throws
 */
export async function packOfArchive(
  path: string,
  sha256: string,
  signal: AbortSignal,
  name: string = path,
): Promise<Pack> {
  return fromArchive(path, signal, name, (source) => collectPack(source, sha256));
}

export interface NamedFiles {
  /** As far as the archive has them; what a link leads to is not among them. */
  readonly files: ReadonlyMap<string, PackFile>;
  /** Every file of the archive, and every link. */
  readonly paths: ReadonlySet<string>;
  readonly links: ReadonlySet<string>;
}

/**
 * Files of a source archive, and the names of all.
 *
 * @param wanted whether the content of a file is asked for
 * @param name of the archive in messages
 * @throws Failure `source/not-an-archive`, `source/too-large`
 */
export async function filesOfArchive(
  path: string,
  wanted: (path: string) => boolean,
  signal: AbortSignal,
  name: string = path,
): Promise<NamedFiles> {
  return fromArchive(path, signal, name, async (source) => {
    const found = { files: new Map<string, PackFile>(), paths: new Set<string>(), links: new Set<string>() };
    let total = 0;
    for await (const entry of source.entries(wanted)) {
      if (!isPackPath(entry.path)) continue;
      found.paths.add(entry.path);
      if (entry.kind === 'link') found.links.add(entry.path);
      else if (wanted(entry.path)) {
        total += entry.size;
        if (total > largestPack) throw tooLarge(source.name, entry.path);
        found.files.set(entry.path, { content: await buffer(entry.content), executable: entry.executable });
      }
    }
    return found;
  });
}

async function fromArchive<T>(
  path: string,
  signal: AbortSignal,
  name: string,
  use: (source: EntrySource) => Promise<T>,
): Promise<T> {
  try {
    return await use({ name, entries: () => sourceEntries(path, signal) });
  } catch (error) {
    signal.throwIfAborted();
    throw error instanceof Failure ? error : damaged(name, error);
  }
}

export function damaged(path: string, error: unknown): Failure {
  if (error instanceof UnsafeArchive) {
    return new Failure(
      sourceCodes.report('source/unsafe-archive', {
        message: `${quoted(path, 120)} is not unpacked: ${error.message}`,
        help: 'See where this source comes from: a kernel has nothing like that.',
      }),
      { cause: error },
    );
  }
  return new Failure(
    sourceCodes.report('source/not-an-archive', {
      message: `${quoted(path, 120)} cannot be unpacked: ${error instanceof Error ? error.message : String(error)}`,
      notes: ['It is damaged, or cut off.'],
      help: 'Fetch the source again, or name another one.',
    }),
    { cause: error },
  );
}
