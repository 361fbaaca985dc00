/** Tarballs that are fetched: any of several places will do, and any compression, as long as the tar inside is right. */
import { createHash } from 'node:crypto';
import { stat } from 'node:fs/promises';

import { Failure } from '../diagnostics/catalogue.ts';
import { judgeAttempt, noPlaceHas, type Attempt } from '../host/attempts.ts';
import type { Host } from '../host/host.ts';
import { applyMirrors } from '../host/mirrors.ts';
import { networkOf } from '../host/network.ts';
import { receiveFile, type ReceiveOptions } from '../host/receive-file.ts';
import type { Store } from '../host/store.ts';
import type { RemotePin } from '../spec/lock.ts';
import { tarName } from '../spec/source-text.ts';
import { sourceCodes } from './codes.ts';
import { measureTar } from './tar-content.ts';

/** Bytes. A kernel's tar, not compressed, has a third of that. */
const mostFile = 4 * 2 ** 30;

export interface FetchTarballOptions extends ReceiveOptions {
  /** Bytes that a tarball may have, as it is. */
  readonly most?: number;
}

/** A tarball that has come, and is not in the store yet. */
export interface FetchedFile {
  readonly path: string;
  readonly sha256: string;
  /** Bytes. */
  readonly size: number;
  /** The URL that it came from. */
  readonly name: string;
}

/**
 * Fetches a tarball from the first place whose file is accepted.
 *
 * @param accept looks at a file; its failures with these codes belong to the place, and the next one is tried
 * @throws Failure of the first file that was not accepted, else why there is none; what else `accept` throws
 */
export async function fetchTarball<T>(
  host: Host,
  urls: readonly string[],
  { most = mostFile, onBytes, ...options }: FetchTarballOptions,
  accept: (file: FetchedFile) => Promise<T>,
): Promise<T> {
  host.progress.stage('fetching the source');
  let done = 0;
  const counted: ReceiveOptions = {
    ...options,
    onBytes: (count, total) => {
      done += count;
      host.progress.advance(done, total, 'bytes');
      onBytes?.(count, total);
    },
  };
  const attempts: Attempt[] = [];
  let refused: Failure | undefined;
  for (const url of new Set(urls.map((one) => applyMirrors(one, networkOf(host).mirrors)))) {
    const incoming = await host.store.receive(most);
    try {
      await receiveFile(host, url, incoming, { pinned: false }, counted);
      const sha256 = await incoming.finish();
      const accepted = await accept({ path: incoming.path, sha256, size: incoming.size, name: url });
      await host.store.keep(incoming);
      await note(host, url, sha256);
      return accepted;
    } catch (error) {
      host.signal.throwIfAborted();
      done = 0;
      if (error instanceof Failure && isOfPlace(error)) {
        refused ??= error;
        attempts.push({ url, why: error.message, kind: 'content' });
      } else attempts.push(judgeAttempt(url, error));
    } finally {
      await incoming.drop();
    }
  }
  if (!refused) throw new Failure(noPlaceHas(tarName(urls), attempts, [], 'source'));
  throw withAttempts(refused, attempts);
}

const placeCodes: ReadonlySet<string> = new Set([
  'source/altered',
  'source/wrong-stream',
  'source/wrong-tar',
  'source/sums-differ',
  'source/sums-missing',
  'source/not-an-archive',
  'source/unread-compression',
  'source/too-large',
]);

function isOfPlace({ diagnostics }: Failure): boolean {
  return diagnostics.some(({ code }) => placeCodes.has(code));
}

function withAttempts(failure: Failure, attempts: readonly Attempt[]): Failure {
  const notes = attempts.map(({ url, why }) => `${url}: ${why}`);
  const diagnostics = failure.diagnostics.map((one) => ({ ...one, notes: [...one.notes, ...notes] }));
  return new Failure(diagnostics, { cause: failure });
}

/**
 * Brings the tar of a lock into the store.
 * @throws Failure `source/wrong-tar`, or why no place has it
 */
export async function fetchPinnedTar(
  host: Host,
  pin: RemotePin,
  options: FetchTarballOptions = {},
): Promise<void> {
  if ((await heldTar(host, pin)) !== undefined) return;
  await fetchTarball(host, pin.urls, options, async ({ path, sha256, name }) => {
    // the lock itself says what is inside of this one
    if (sha256 === pin.sha256) return;
    const tar = await measureTar(path, name, host.signal);
    if (tar.sha256 !== pin.tar.sha256)
      throw wrongTar(name, `the tar inside has the SHA-256 ${tar.sha256}`, pin);
    await note(host, tarKey(pin), sha256);
    rememberTar(host, pin, sha256);
  });
}

function wrongTar(name: string, found: string, { tar, sha256 }: RemotePin): Failure {
  return new Failure(
    sourceCodes.report('source/wrong-tar', {
      message: `${name} is not what was pinned: ${found}`,
      notes: [`It was pinned with ${tar.sha256} for the tar, and as a file with ${sha256}.`],
      help:
        'Either the place is not what it should be, or the file was replaced there: fetch from another one ' +
        '(QUERN_MIRRORS), or look into what has changed and pin anew (quern pin --refresh source).',
    }),
  );
}

/**
 * The file of the store that has the tar inside: by its SHA-256, or nothing. A note of the store is not believed: it may
 * come back from a cache.
 */
export async function heldTar(host: Host, pin: RemotePin): Promise<string | undefined> {
  if (await host.store.has(pin.sha256)) return pin.sha256;
  const lent = host.store.lentAs(tarName(pin.urls));
  const sha256 = lent !== undefined && (await host.store.has(lent)) ? lent : await noted(host, tarKey(pin));
  return sha256 !== undefined && (await hasTar(host, pin, sha256)) ? sha256 : undefined;
}

/**
 * The same, where the tar inside is looked at in any case: what is kept of a source under the digest of its tar is there
 * for other specs as well, and a lock says of its own file what it likes.
 *
 * @throws Failure `source/wrong-tar`
 */
export async function provenTar(host: Host, pin: RemotePin): Promise<string | undefined> {
  const sha256 = await heldTar(host, pin);
  if (sha256 === undefined || (await hasTar(host, pin, sha256))) return sha256;
  throw wrongTar(tarName(pin.urls), 'the tar inside is another one', pin);
}

/** Whether that is the tar inside a file of the store. */
async function hasTar(host: Host, pin: RemotePin, sha256: string): Promise<boolean> {
  if (measured.get(host.store)?.get(pin.tar.sha256) === sha256) return true;
  const tar = await measureTar(host.store.path(sha256), 'a file of the store', host.signal).catch(
    (error: unknown) => {
      if (error instanceof Failure) return undefined;
      throw error;
    },
  );
  if (tar?.sha256 !== pin.tar.sha256) return false;
  rememberTar(host, pin, sha256);
  return true;
}

/** What this process has unpacked and found right: tar to file. */
const measured = new WeakMap<Store, Map<string, string>>();

/** Keeps in mind that a file of the store has the tar of a pin inside: whoever has just looked. */
export function rememberTar({ store }: Host, { tar }: Pick<RemotePin, 'tar'>, sha256: string): void {
  const known = measured.get(store) ?? new Map<string, string>();
  measured.set(store, known.set(tar.sha256, sha256));
}

/** What one of the URLs has brought before, if the store still has it. What it is must be looked at. */
export async function fetchedBefore(host: Host, urls: readonly string[]): Promise<FetchedFile | undefined> {
  for (const url of urls.map((one) => applyMirrors(one, networkOf(host).mirrors))) {
    const sha256 = await noted(host, url);
    if (sha256 === undefined) continue;
    const path = host.store.path(sha256);
    const { size } = await stat(path);
    return { path, sha256, size, name: url };
  }
  return undefined;
}

const tarKey = ({ tar }: RemotePin): string => `tar ${tar.sha256}`;

async function note(host: Host, key: string, sha256: string): Promise<void> {
  await host.store.keepNamed('fetched', nameOf(key), `${sha256}\n`);
}

async function noted(host: Host, key: string): Promise<string | undefined> {
  const text = (await host.store.readNamed('fetched', nameOf(key)))?.toString('latin1') ?? '';
  const sha256 = /^([0-9a-f]{64})\n$/.exec(text)?.[1];
  return sha256 !== undefined && (await host.store.has(sha256)) ? sha256 : undefined;
}

function nameOf(key: string): string {
  return createHash('sha256').update(key).digest('hex');
}
