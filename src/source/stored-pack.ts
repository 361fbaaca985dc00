/**
 * Kconfig packs in the store. The pack itself is kept like everything else there, by its own digest; beside the store's
 * files a folder tells which pack is that of which source. Both may come back from a CI cache, and are looked at like
 * anything from outside: what is damaged, or of another source, is made again.
 */
import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { createPack, decodePack, encodePack, packVersion, type Pack } from '../kconfig/pack.ts';
import { sourceCodes } from './codes.ts';
import type { PackSource } from './held-source.ts';
import type { NamedFiles } from './read-pack.ts';

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
  // what reads archives is loaded only where the store does not have all that was once read
  const { packOfSource } = await import('./held-source.ts');
  const pack = await packOfSource(host, source);
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
  const { filesOfSource } = await import('./held-source.ts');
  const found = await filesOfSource(
    host,
    source,
    (path) => paths.has(path) || kept?.files.has(path) === true,
  );
  if (!found) return undefined;
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
