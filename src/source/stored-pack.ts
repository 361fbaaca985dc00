/**
 * Kconfig packs in the store. The pack itself is kept like everything else there, by its own digest; beside the store's
 * files a folder tells which pack is that of which source. Both may come back from a CI cache, and are looked at like
 * anything from outside: what is damaged, or of another source, is made again.
 */
import { rm } from 'node:fs/promises';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { createPack, decodePack, encodePack, packVersion, type Pack } from '../kconfig/pack.ts';
import type { RemotePin } from '../spec/lock.ts';
import { tarName } from '../spec/source-text.ts';
import { sourceCodes } from './codes.ts';
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
  const bytes = sha256 === undefined ? undefined : await host.store.parts(sha256);
  if (sha256 === undefined || !bytes) return undefined;
  const { value } = decodePack(bytes, sha256);
  return value?.source === source.sha256 ? { pack: value, sha256 } : undefined;
}

/**
 * Files of a source, and the names of all that it has: kept from an earlier time, or else read from the source if the store
 * has that. What was asked for once is kept for the next time.
 *
 * @returns nothing when neither is there
 * @throws Failure what reading the source and writing the store throws
 */
export async function sourceFiles(
  host: Host,
  source: PackSource,
  paths: ReadonlySet<string>,
): Promise<NamedFiles | undefined> {
  const kept = await keptFiles(host, source);
  if (kept && [...paths].every((path) => kept.files.has(path) || !isPlain(kept, path))) return kept;
  if ((await heldSource(host, source)) === undefined) return undefined;
  host.progress.stage('reading the files that the patches touch');
  const wanted = (path: string): boolean => paths.has(path) || kept?.files.has(path) === true;
  const found = await readSource(host, source, (path, name) =>
    filesOfArchive(path, wanted, host.signal, name),
  );
  const pack = await host.store.add([encodePack(createPack(source.sha256, found.files))]);
  const names = await host.store.add([Buffer.from(encodeNames(found), 'latin1')]);
  await host.store.keepNamed('packs', filesNote(source), `${pack.sha256} ${names.sha256}\n`);
  return found;
}

function isPlain({ paths, links }: NamedFiles, path: string): boolean {
  return paths.has(path) && !links.has(path);
}

async function keptFiles(host: Host, source: PackSource): Promise<NamedFiles | undefined> {
  const noted = await host.store.readNamed('packs', filesNote(source));
  const [, pack, names] = /^([0-9a-f]{64}) ([0-9a-f]{64})\n$/.exec(noted?.toString('latin1') ?? '') ?? [];
  if (pack === undefined || names === undefined) return undefined;
  const [packed, named] = [await host.store.parts(pack), await host.store.read(names)];
  if (!packed || !named) return undefined;
  const { value } = decodePack(packed, pack);
  if (value?.source !== source.sha256) return undefined;
  return { files: value.files, ...decodeNames(named.toString('latin1')) };
}

/** A line for each name; `> ` before that of a link. */
function encodeNames({ paths, links }: NamedFiles): string {
  return [...paths].map((path) => `${links.has(path) ? '> ' : ''}${path}\n`).join('');
}

function decodeNames(text: string): Pick<NamedFiles, 'paths' | 'links'> {
  const lines = text.split('\n').slice(0, -1);
  const links = new Set(lines.filter((line) => line.startsWith('> ')).map((line) => line.slice(2)));
  return { paths: new Set(lines.map((line) => line.replace(/^> /, ''))), links };
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

/** Which files are kept of a source beside its pack; the number goes up when they are kept otherwise. */
function filesNote({ sha256 }: PackSource): string {
  return `${sha256}.files.1`;
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
