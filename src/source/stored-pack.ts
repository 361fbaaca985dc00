/**
 * Kconfig packs in the store. The pack itself is kept like everything else there, by its own digest; beside the store's
 * files a folder tells which pack is that of which source. Both may come back from a CI cache, and are looked at like
 * anything from outside: what is damaged, or of another source, is made again.
 */
import { readFile, rm } from 'node:fs/promises';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { decodePack, encodePack, packVersion, type Pack, type PackFile } from '../kconfig/pack.ts';
import type { RemotePin } from '../spec/lock.ts';
import { tarName } from '../spec/source-text.ts';
import { sourceCodes } from './codes.ts';
import { damaged, filesOfArchive, packOfArchive } from './read-pack.ts';
import { heldTar } from './remote-tarball.ts';
import { extractDebianSource } from './source-tar.ts';

export interface PackSource {
  /** Stands for the source. */
  readonly sha256: string;
  /** The source is a Debian package, of this name. */
  readonly debianPackage?: string | undefined;
  /** The source was fetched; its SHA-256 is that of the tar, in whatever file the store has it. */
  readonly remote?: RemotePin | undefined;
}

export interface StoredPack {
  readonly pack: Pack;
  /** Of the encoded pack. */
  readonly sha256: string;
}

/**
 * The pack of a source: from the store, or else read from the source, which then has to be in the store.
 *
 * @param expected SHA-256 that the pack must have, where a lock tells
 * @throws Failure `source/pack-differs`, what reading the source and writing the store throws
 */
export async function storedPack(host: Host, source: PackSource, expected?: string): Promise<StoredPack> {
  const kept = await keptPack(host, source, expected);
  if (kept) return kept;
  host.progress.stage('reading the Kconfig files of the source');
  const pack = await readSource(host, source, (path, name) =>
    packOfArchive(path, source.sha256, host.signal, name),
  );
  const { sha256 } = await host.store.add([encodePack(pack)]);
  await host.store.keepNamed('packs', noteOf(source), `${sha256}\n`);
  if (expected !== undefined && expected !== sha256) throw differs(source, expected, sha256);
  return { pack, sha256 };
}

/** The pack of a source if the store has it, without reading the source. */
export async function keptPack(
  host: Host,
  source: PackSource,
  expected?: string,
): Promise<StoredPack | undefined> {
  const noted = await host.store.readNamed('packs', noteOf(source));
  const sha256 = expected ?? /^([0-9a-f]{64})\n$/.exec(noted?.toString('latin1') ?? '')?.[1];
  if (sha256 === undefined || !(await host.store.has(sha256))) return undefined;
  const bytes = await readFile(host.store.path(sha256));
  const { value } = decodePack(bytes, sha256);
  return value?.source === source.sha256 ? { pack: value, sha256 } : undefined;
}

/**
 * Files of a source that is in the store, as far as it has them.
 *
 * @throws Failure what reading the source throws
 */
export async function sourceFiles(
  host: Host,
  source: PackSource,
  paths: ReadonlySet<string>,
): Promise<ReadonlyMap<string, PackFile>> {
  return readSource(host, source, (path, name) => filesOfArchive(path, paths, host.signal, name));
}

/** @param read reads the tar archive at a path, of which messages say the name */
async function readSource<T>(
  host: Host,
  { sha256: named, debianPackage, remote }: PackSource,
  read: (path: string, name?: string) => Promise<T>,
): Promise<T> {
  // read from what it is pinned as, or not at all
  const sha256 = remote ? await heldTar(host, remote) : named;
  if (sha256 === undefined || !(await host.store.has(sha256)))
    throw new Error(`the store does not have the source ${named}`);
  const path = host.store.path(sha256);
  if (debianPackage === undefined) return read(path, remote && tarName(remote.urls));
  // where gigabytes have their place; named as what the store sweeps away when it was left by a process that was killed
  const inner = host.store.asidePath();
  try {
    await extractDebianSource(path, debianPackage, inner, host.signal);
    return await read(inner, debianPackage);
  } catch (error) {
    host.signal.throwIfAborted();
    throw error instanceof Failure ? error : damaged(debianPackage, error);
  } finally {
    await rm(inner, { force: true });
  }
}

function noteOf({ sha256 }: PackSource): string {
  return `${sha256}.${packVersion}`;
}

function differs(source: PackSource, expected: string, found: string): Failure {
  return new Failure(
    sourceCodes.report('source/pack-differs', {
      message: `the Kconfig files of the source ${quoted(source.sha256, 80)} are not those that were pinned`,
      notes: [`Their pack has the SHA-256 ${found}, and the lock says ${expected}.`],
      help: 'Either the lock was altered, or another version of Quern wrote it: pin again (quern pin --refresh answers).',
    }),
  );
}
