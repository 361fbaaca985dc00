/**
 * The content-addressed store: files under the name of their SHA-256. What is written goes aside first, is hashed on
 * its way, verified, brought to the disk and then renamed, so that a file under its final name is whole. What is read
 * is verified too: a store may come back from a CI cache, or from a disk that lies.
 */
import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { mkdir, open, readdir, readFile, rename, rm, stat, utimes, type FileHandle } from 'node:fs/promises';
import { homedir } from 'node:os';
import path from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { isDropped } from './claim.ts';
import { digestFile } from './digest-file.ts';
import { fetchCodes } from './fetch-codes.ts';
import { FileParts } from './file-parts.ts';
import { Incoming } from './incoming.ts';
import { asideName, isAside, isLeftover } from './store-aside.ts';
import { storeFailure } from './store-failure.ts';

export interface StoredFile {
  /** Lower-case hex. */
  readonly sha256: string;
  /** Bytes. */
  readonly size: number;
  readonly path: string;
}

export interface ExpectedContent {
  readonly sha256?: string;
  readonly size?: number;
}

/**
 * What is kept by a name, since it can be worked out again: which pack a source has, models, numbers of files, and as
 * which file a tar or a URL came.
 */
export const namedKinds = ['packs', 'models', 'compiled', 'fetched'] as const;
export type NamedKind = (typeof namedKinds)[number];

/** One file of the store. */
export interface StoreEntry {
  readonly kind: 'inputs' | NamedKind | 'leftovers';
  readonly path: string;
  /** Bytes. */
  readonly size: number;
  /** When it was used last; milliseconds since 1970. */
  readonly used: number;
}

const claimPrefix = '.claim-';
const digestPattern = /^[0-9a-f]{64}$/;

/**
 * Where the store is: `QUERN_STORE`, else below `XDG_CACHE_HOME`, else below `~/.cache`.
 *
 * @throws Failure `host/store-denied` when there is none of them
 */
export function defaultStoreFolder(
  env: Readonly<Record<string, string | undefined>>,
  home: () => string = homedir,
): string {
  const own = env['QUERN_STORE'];
  if (own !== undefined && own !== '') return path.resolve(own);
  const cache = env['XDG_CACHE_HOME'] ?? '';
  // A relative path there is invalid and to be ignored (XDG Base Directory Specification).
  return path.join(path.isAbsolute(cache) ? cache : path.join(homeFolder(home), '.cache'), 'quern', 'store');
}

/** In a container a user need not have one: no HOME, and no line in the system's list of users. */
function homeFolder(home: () => string): string {
  let why = 'HOME is empty or a relative path';
  let cause: unknown;
  try {
    const folder = home();
    if (path.isAbsolute(folder)) return folder;
  } catch (error) {
    cause = error;
    why = error instanceof Error ? error.message : String(error);
  }
  throw new Failure(
    fetchCodes.report('host/store-denied', {
      message: 'there is no place for the store: this user has no home folder',
      notes: [`The system says: ${why}.`],
      help: 'Name a folder in the environment variable QUERN_STORE, or set HOME.',
    }),
    { cause },
  );
}

export class Store {
  readonly folder: string;
  /** Digests of files that this process has found, or made, to be what their name says. */
  readonly #verified = new Set<string>();
  /** Digest to path. */
  readonly #lent = new Map<string, string>();
  #swept: Promise<void> | undefined;

  constructor(folder: string) {
    this.folder = folder;
  }

  /**
   * Takes these files from where they are, and from nowhere else: whoever has them in a folder expects that what comes of
   * them comes of that folder. They are never written to, nor removed.
   *
   * @param files digest to path
   */
  lend(files: ReadonlyMap<string, string>): void {
    for (const [sha256, file] of files) {
      if (this.#lent.get(sha256) === file) continue;
      this.#lent.set(sha256, file);
      this.#verified.delete(sha256);
    }
  }

  /** Digest of the file that is lent under this name, whatever folder it is in. */
  lentAs(name: string): string | undefined {
    return [...this.#lent].find(([, file]) => path.basename(file) === name)?.[0];
  }

  /**
   * Where the file with this digest is, or would be.
   * @throws RangeError when `sha256` is no lower-case hex SHA-256
   */
  path(sha256: string): string {
    return this.#lent.get(sha256) ?? this.#ownPath(sha256);
  }

  #ownPath(sha256: string): string {
    if (!digestPattern.test(sha256)) throw new RangeError(`no SHA-256 digest: ${sha256}`);
    return path.join(this.folder, sha256);
  }

  /**
   * Whether the file is there and is what its name says; one that is not is removed.
   * @throws Failure `host/lent-damaged` for one that is lent
   */
  async has(sha256: string): Promise<boolean> {
    const file = this.path(sha256);
    return await this.#attempt(async () => {
      if (!(await stat(file).catch(absent))) return false;
      return this.#verified.has(sha256) || this.#isRight(sha256, await digestFile(file));
    });
  }

  /**
   * The content of a file that fits into memory, where `has` would find it.
   * @throws Failure `host/lent-damaged` for one that is lent
   */
  async read(sha256: string): Promise<Buffer | undefined> {
    const file = this.path(sha256);
    return await this.#attempt(async () => {
      const content = await readFile(file).catch(absent);
      if (!content || this.#verified.has(sha256)) return content;
      const digest = createHash('sha256').update(content).digest('hex');
      return (await this.#isRight(sha256, digest)) ? content : undefined;
    });
  }

  /**
   * The same for a file of which only parts are wanted: it is looked at as a whole, read when it is asked, and has to stay
   * as it was meanwhile: otherwise its parts throw `host/store-failed`.
   * @throws Failure `host/lent-damaged` for one that is lent
   */
  async parts(sha256: string): Promise<FileParts | undefined> {
    // before it is looked at, so that what is read is what was found right
    const parts = await this.#attempt(async () => openParts(this.path(sha256)));
    return (await this.has(sha256)) ? parts : undefined;
  }

  /**
   * Keeps what `chunks` yields.
   * @throws Failure `host/wrong-digest` or `host/wrong-size` when it is not what was expected, `host/store-full`,
   *   `host/store-denied` or `host/store-failed`; and whatever `chunks` throws. Nothing is left behind then.
   */
  async add(
    chunks: AsyncIterable<Uint8Array> | Iterable<Uint8Array>,
    expected: ExpectedContent = {},
  ): Promise<StoredFile> {
    const incoming = await this.receive(expected.size);
    try {
      for await (const chunk of chunks) await incoming.append(chunk);
      return await this.keep(incoming, expected);
    } finally {
      await incoming.drop();
    }
  }

  /**
   * Begins a file that comes in pieces. It is to be kept or dropped.
   * @param most bytes that it may have
   * @throws Failure `host/store-full`, `host/store-denied` or `host/store-failed`
   */
  async receive(most: number = Number.MAX_SAFE_INTEGER): Promise<Incoming> {
    const aside = await this.#openAside();
    return new Incoming(this.folder, aside.path, aside.handle, most);
  }

  /**
   * Makes a file of the store of what has come in.
   * @throws Failure as `add`
   */
  async keep(incoming: Incoming, expected: ExpectedContent = {}): Promise<StoredFile> {
    const sha256 = await incoming.finish();
    assertExpected(expected, sha256, incoming.size);
    const target = this.#ownPath(sha256);
    await this.#attempt(() => rename(incoming.path, target));
    if (!this.#lent.has(sha256)) this.#verified.add(sha256);
    return { sha256, size: incoming.size, path: target };
  }

  /**
   * The content of a file of the store, verified while it is read.
   * @throws Failure `host/wrong-digest` behind the last chunk when the file is not what its name says
   */
  async *open(sha256: string): AsyncGenerator<Uint8Array> {
    const hash = createHash('sha256');
    try {
      for await (const chunk of createReadStream(this.path(sha256)) as AsyncIterable<Uint8Array>) {
        hash.update(chunk);
        yield chunk;
      }
    } catch (error) {
      throw storeFailure(this.folder, error);
    }
    assertExpected({ sha256 }, hash.digest('hex'), 0);
  }

  /** A place beside the files for something that is made on the way; swept away when this process is killed. */
  async asidePath(): Promise<string> {
    // a store from which everything is lent so far has no folder yet
    await this.#attempt(() => mkdir(this.folder, { recursive: true }));
    return path.join(this.folder, asideName());
  }

  /** A file that is there while a process brings the one with this digest. */
  claimPath(sha256: string): string {
    return path.join(this.folder, `${claimPrefix}${sha256}`);
  }

  /** What was kept by a name; `undefined` when there is nothing, or it cannot be read. */
  async readNamed(kind: NamedKind, name: string): Promise<Buffer | undefined> {
    const file = path.join(this.folder, kind, name);
    const content = await readFile(file).catch(() => undefined);
    if (content) await markUsed(file);
    return content;
  }

  /**
   * Keeps something by a name, whole or not at all.
   * @throws Failure `host/store-full`, `host/store-denied` or `host/store-failed`
   */
  async keepNamed(kind: NamedKind, name: string, content: string | Uint8Array): Promise<void> {
    const aside = await this.#openAside();
    try {
      await this.#attempt(() => aside.handle.writeFile(content));
      await aside.handle.close();
      await this.#attempt(() => mkdir(path.join(this.folder, kind), { recursive: true }));
      await this.#attempt(() => rename(aside.path, path.join(this.folder, kind, name)));
    } catch (error) {
      await aside.handle.close().catch(() => undefined);
      await rm(aside.path, { force: true });
      throw error;
    }
  }

  /**
   * All that is in the store. Files that are none of its own are passed over.
   * @throws Failure `host/store-denied` or `host/store-failed`
   */
  async entries(): Promise<readonly StoreEntry[]> {
    const found: StoreEntry[] = [];
    const look = async (
      folder: string,
      kindOf: (name: string, file: string) => Promise<StoreEntry['kind'] | undefined>,
    ): Promise<void> => {
      for (const name of (await readdir(folder).catch(absent)) ?? []) {
        const file = path.join(folder, name);
        const kind = await kindOf(name, file);
        const there = kind && (await stat(file).catch(absent));
        if (!kind || !there || !(there.isFile() || kind === 'leftovers')) continue;
        const used = Math.max(there.atimeMs, there.mtimeMs);
        found.push({ kind, path: file, size: there.isFile() ? there.size : await sizeOf(file), used });
      }
    };
    await this.#attempt(async () => {
      await look(this.folder, async (name, file) => {
        if (digestPattern.test(name)) return 'inputs';
        return (await this.#isLeft(name, file)) ? 'leftovers' : undefined;
      });
      for (const kind of namedKinds) await look(path.join(this.folder, kind), async () => kind);
    });
    return found;
  }

  /** @throws Failure `host/store-denied` or `host/store-failed` */
  async remove(entry: StoreEntry): Promise<void> {
    await this.#attempt(() => rm(entry.path, { recursive: true, force: true }));
  }

  async #isRight(sha256: string, digest: string): Promise<boolean> {
    const file = this.path(sha256);
    const lent = this.#lent.has(sha256);
    if (digest !== sha256) {
      if (lent) throw lentDamaged(file, sha256, digest);
      await rm(file, { force: true });
      return false;
    }
    this.#verified.add(sha256);
    if (!lent) await markUsed(file);
    return true;
  }

  async #openAside(): Promise<{ readonly handle: FileHandle; readonly path: string }> {
    return await this.#attempt(async () => {
      const aside = await this.asidePath();
      await (this.#swept ??= this.#sweep());
      return { handle: await open(aside, 'wx', 0o644), path: aside };
    });
  }

  async #sweep(): Promise<void> {
    for (const name of await readdir(this.folder)) {
      const file = path.join(this.folder, name);
      if (await this.#isLeft(name, file)) await rm(file, { recursive: true, force: true });
    }
  }

  async #isLeft(name: string, file: string): Promise<boolean> {
    if (name.startsWith(claimPrefix)) return isDropped(file);
    if (!isAside(name)) return false;
    const there = await stat(file).catch(absent);
    return there !== undefined && isLeftover(name, there.mtimeMs, Date.now());
  }

  async #attempt<T>(work: () => Promise<T>): Promise<T> {
    try {
      return await work();
    } catch (error) {
      throw storeFailure(this.folder, error);
    }
  }
}

/** By the time of the last access, also on disks that do not keep it. A store that may not be written is used all the same. */
function openParts(file: string): FileParts | undefined {
  try {
    return new FileParts(file);
  } catch (error) {
    return absent(error as NodeJS.ErrnoException);
  }
}

async function markUsed(file: string): Promise<void> {
  const there = await stat(file).catch(() => undefined);
  if (there) await utimes(file, new Date(), there.mtime).catch(() => undefined);
}

function lentDamaged(file: string, sha256: string, digest: string): Failure {
  return new Failure(
    fetchCodes.report('host/lent-damaged', {
      message: `${quoted(file, 160)} is damaged, or was altered`,
      notes: [`It was kept with the SHA-256 ${sha256}, and has ${digest}.`],
      help: 'Bring the file from another copy of the folder, or make the folder anew: quern keep.',
    }),
  );
}

function absent(error: NodeJS.ErrnoException): undefined {
  if (error.code !== 'ENOENT') throw error;
}

function assertExpected(expected: ExpectedContent, sha256: string, size: number): void {
  if (expected.size !== undefined && size < expected.size) {
    const message = `the content ends after ${size} of ${expected.size} bytes`;
    throw new Failure(fetchCodes.report('host/wrong-size', { message }));
  }
  if (expected.sha256 !== undefined && sha256 !== expected.sha256) {
    const message = `the content has the SHA-256 ${sha256}, not ${expected.sha256}`;
    throw new Failure(fetchCodes.report('host/wrong-digest', { message }));
  }
}

/** Bytes of all files in a folder. */
async function sizeOf(folder: string): Promise<number> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true });
  const sizes = entries
    .filter((entry) => entry.isFile())
    .map(async (entry) => (await stat(path.join(entry.parentPath, entry.name)).catch(absent))?.size ?? 0);
  return (await Promise.all(sizes)).reduce((sum, size) => sum + size, 0);
}
