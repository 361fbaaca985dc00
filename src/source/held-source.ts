/** Reads what is wanted out of a source that the store has. */
import { rm } from 'node:fs/promises';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Host } from '../host/host.ts';
import type { Pack } from '../kconfig/pack.ts';
import type { RemotePin } from '../spec/lock.ts';
import { tarName } from '../spec/source-text.ts';
import { damaged, filesOfArchive, packOfArchive, type NamedFiles } from './read-pack.ts';
import { provenTar } from './remote-tarball.ts';
import { extractDebianSource } from './source-tar.ts';

export interface PackSource {
  /** Stands for the source. */
  readonly sha256: string;
  /** The source is a Debian package, of this name. */
  readonly debianPackage?: string | undefined;
  /** The source was fetched; its SHA-256 is that of the tar, in whatever file the store has it. */
  readonly remote?: RemotePin | undefined;
}

/**
 * The Kconfig pack of a source, which has to be in the store.
 *
 * @throws Failure what unpacking the source and `packOfArchive` throw
 */
export async function packOfSource(host: Host, source: PackSource): Promise<Pack> {
  host.progress.stage('reading the Kconfig files of the source');
  return readSource(host, source, (path, name) => packOfArchive(path, source.sha256, host.signal, name));
}

/**
 * Files of a source, and the names of all that it has.
 *
 * @returns nothing when the store does not have the source
 * @throws Failure what unpacking the source and `filesOfArchive` throw
 */
export async function filesOfSource(
  host: Host,
  source: PackSource,
  wanted: (path: string) => boolean,
): Promise<NamedFiles | undefined> {
  if ((await heldSource(host, source)) === undefined) return undefined;
  host.progress.stage('reading the files that the patches touch');
  return readSource(host, source, (path, name) => filesOfArchive(path, wanted, host.signal, name));
}

/** The file of the store that the source is, by its SHA-256; of one that was fetched, in whatever compression. */
async function heldSource(host: Host, { sha256, remote }: PackSource): Promise<string | undefined> {
  if (remote) return provenTar(host, remote);
  return (await host.store.has(sha256)) ? sha256 : undefined;
}

/** @param read reads the tar archive at a path, of which messages say the name */
async function readSource<T>(
  host: Host,
  source: PackSource,
  read: (path: string, name?: string) => Promise<T>,
): Promise<T> {
  const { debianPackage, remote } = source;
  // read from what it is pinned as, or not at all
  const sha256 = await heldSource(host, source);
  if (sha256 === undefined) throw new Error(`the store does not have the source ${source.sha256}`);
  const path = host.store.path(sha256);
  if (debianPackage === undefined) return read(path, remote && tarName(remote.urls));
  // where gigabytes have their place; named as what the store sweeps away when it was left by a process that was killed
  const inner = await host.store.asidePath();
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
