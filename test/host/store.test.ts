import { createHash } from 'node:crypto';
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  truncateSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { defaultStoreFolder, Store } from '../../src/host/store.ts';

const text = 'level 4.20 m at the otter bank\n';
const bytes = Buffer.from(text);
const digest = createHash('sha256').update(bytes).digest('hex');

async function* chunks(...parts: readonly (string | Error)[]): AsyncGenerator<Uint8Array> {
  for (const part of parts) {
    if (part instanceof Error) throw part;
    yield Buffer.from(part);
  }
}

async function codeOf(work: Promise<unknown>): Promise<string> {
  const error = await work.then(
    () => undefined,
    (reason: unknown) => reason,
  );
  if (!(error instanceof Failure)) throw new Error('it was to fail', { cause: error });
  return error.diagnostics.map(({ code, exit }) => `${code} ${exit}`).join();
}

let folder = '';
let store = new Store(folder);
beforeEach(() => {
  folder = join(mkdtempSync(join(tmpdir(), 'quern-store-')), 'deep', 'store');
  store = new Store(folder);
});
afterEach(() => rmSync(join(folder, '..', '..'), { recursive: true, force: true }));

describe('Store', () => {
  it('keeps what comes in under the name of its digest', async () => {
    const added = await store.add(chunks('level 4.20 m ', 'at the otter bank\n'));
    expect(added).toEqual({ sha256: digest, size: bytes.length, path: join(folder, digest) });
    expect(readFileSync(added.path, 'utf8')).toBe(text);
    expect(await store.has(digest)).toBe(true);
    const read: Uint8Array[] = [];
    for await (const chunk of store.open(digest)) read.push(chunk);
    expect(Buffer.concat(read)).toEqual(bytes);
    expect(readdirSync(folder)).toEqual([digest]);
  });

  it('takes plain lists, nothing at all, and the same thing twice', async () => {
    await store.add([bytes]);
    await store.add([bytes], { sha256: digest, size: bytes.length });
    const empty = await store.add([]);
    // coreutils: sha256sum /dev/null
    expect(empty.sha256).toBe('e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855');
    expect(readdirSync(folder).sort()).toEqual([digest, empty.sha256].sort());
  });

  it('has many things come in at once, also the same one', async () => {
    const added = await Promise.all(
      Array.from({ length: 20 }, (_, place) => store.add(chunks(`${place % 10}`))),
    );
    expect(new Set(added.map((one) => one.sha256)).size).toBe(10);
    expect(readdirSync(folder)).toHaveLength(10);
  });

  it.each<[string, { sha256?: string; size?: number }, string]>([
    ['another digest', { sha256: '0'.repeat(64) }, 'host/wrong-digest 4'],
    ['too few bytes', { size: bytes.length + 1, sha256: digest }, 'host/wrong-size 4'],
    ['too many bytes', { size: bytes.length - 1, sha256: digest }, 'host/wrong-size 4'],
  ])('refuses %s and leaves nothing', async (_, expected, code) => {
    expect(await codeOf(store.add(chunks(text), expected))).toBe(code);
    expect(readdirSync(folder)).toEqual([]);
    expect(await store.has(digest)).toBe(false);
  });

  it('reads no more than the expected number of bytes', async () => {
    let given = 0;
    async function* endless(): AsyncGenerator<Uint8Array> {
      for (;;) {
        given += 10;
        yield new Uint8Array(10);
      }
    }
    expect(await codeOf(store.add(endless(), { size: 25 }))).toBe('host/wrong-size 4');
    expect(given).toBe(30);
  });

  it('hands on what breaks on the way, and leaves nothing', async () => {
    const broken = new Error('the cable is out');
    await expect(store.add(chunks('level', broken))).rejects.toBe(broken);
    expect(readdirSync(folder)).toEqual([]);
  });

  it('does not believe a file by its name', async () => {
    await store.add([bytes]);
    writeFileSync(join(folder, digest), 'level 9.99 m\n');
    const later = new Store(folder);
    const read = async (): Promise<void> => {
      for await (const chunk of later.open(digest)) expect(chunk.length).toBeGreaterThan(0);
    };
    expect(await codeOf(read())).toBe('host/wrong-digest 4');
    expect(await later.has(digest)).toBe(false);
    expect(existsSync(join(folder, digest))).toBe(false);
  });

  it('hands out whole what is as its name says, and nothing else', async () => {
    await store.add([bytes]);
    expect(await new Store(folder).read(digest)).toEqual(Buffer.from(bytes));
    expect(await store.read(digest)).toEqual(Buffer.from(bytes));
    writeFileSync(join(folder, digest), 'level 9.99 m\n');
    const later = new Store(folder);
    expect(await later.read(digest)).toBeUndefined();
    expect(existsSync(join(folder, digest))).toBe(false);
    expect(await later.read(digest)).toBeUndefined();
  });

  it('hands out parts of what is as its name says, as long as it stays so', async () => {
    await store.add([bytes]);
    const parts = await store.parts(digest);
    expect(parts?.length).toBe(bytes.length);
    expect(parts?.subarray(6, 10)).toEqual(bytes.subarray(6, 10));
    expect(parts?.subarray(bytes.length, bytes.length)).toEqual(Buffer.alloc(0));
    expect(await store.parts('0'.repeat(64))).toBeUndefined();
  });

  it.each<[string, (file: string) => void]>([
    ['becomes shorter', (file) => truncateSync(file, 8)],
    ['gets other content of that length', (file) => writeFileSync(file, text.replace('4.20', '9.99'))],
    ['is replaced', (file) => (rmSync(file), writeFileSync(file, text))],
    ['is removed', (file) => rmSync(file)],
  ])('hands out no more parts of a file that %s', async (_, change) => {
    await store.add([bytes]);
    utimesSync(store.path(digest), new Date(), new Date('2026-01-01T00:00:00.1234Z'));
    const parts = await new Store(folder).parts(digest);
    expect(parts?.subarray(6, 10)).toEqual(bytes.subarray(6, 10));
    change(store.path(digest));
    await expect(async () => parts?.subarray(6, 10)).rejects.toMatchObject({
      diagnostics: [{ code: 'host/store-failed', exit: 3 }],
    });
  });

  it('hands out no parts of what is not as its name says', async () => {
    await store.add([bytes]);
    writeFileSync(store.path(digest), text.replace('4.20', '9.99'));
    expect(await new Store(folder).parts(digest)).toBeUndefined();
    expect(existsSync(store.path(digest))).toBe(false);
  });

  it('removes what killed processes left a day ago, and nothing else', async () => {
    mkdirSync(folder, { recursive: true });
    const names = ['.incoming-1-old', '.incoming-2-new', 'notes.txt'];
    for (const name of names) writeFileSync(join(folder, name), 'x');
    const twoDaysAgo = Date.now() / 1000 - 2 * 24 * 3600;
    for (const name of ['.incoming-1-old', 'notes.txt'])
      utimesSync(join(folder, name), twoDaysAgo, twoDaysAgo);
    await store.add([bytes]);
    expect(readdirSync(folder).sort()).toEqual(['.incoming-2-new', digest, 'notes.txt'].sort());
  });

  it('says that a file stands where its folder should be', async () => {
    writeFileSync(join(folder, '..', '..', 'deep'), 'x');
    expect(await codeOf(store.add([bytes]))).toBe('host/store-failed 3');
    expect(await codeOf(store.has(digest))).toBe('host/store-failed 3');
  });

  // In /sys nobody makes folders, not even root.
  it('says that its folder may not be made', async () => {
    expect(await codeOf(new Store('/sys/quern').add([bytes]))).toBe('host/store-denied 3');
  });

  it('takes no name but a digest', () => {
    for (const name of ['', '..', digest.toUpperCase(), `${digest}/..`, digest.slice(1)])
      expect(() => store.path(name)).toThrow(RangeError);
  });
});

describe('defaultStoreFolder', () => {
  // XDG Base Directory Specification 0.8: "All paths set in these environment variables must be absolute."
  it.each<[string, Record<string, string | undefined>, string]>([
    ['QUERN_STORE before all', { QUERN_STORE: '/srv/store', XDG_CACHE_HOME: '/x' }, '/srv/store'],
    ['the cache folder', { XDG_CACHE_HOME: '/x' }, '/x/quern/store'],
    ['the home folder', {}, '/home/otter/.cache/quern/store'],
    [
      'the home folder for a relative cache folder',
      { XDG_CACHE_HOME: 'x' },
      '/home/otter/.cache/quern/store',
    ],
    [
      'the home folder for empty settings',
      { QUERN_STORE: '', XDG_CACHE_HOME: '' },
      '/home/otter/.cache/quern/store',
    ],
  ])('takes %s', (_, env, expected) => {
    expect(defaultStoreFolder(env, () => '/home/otter')).toBe(expected);
  });

  // os.homedir() of a user whom no passwd file knows throws; of an empty HOME it is empty
  it.each<[string, () => string]>([
    [
      'no home',
      () => {
        throw new Error('uv_os_homedir returned ENOENT');
      },
    ],
    ['an empty HOME', () => ''],
  ])('asks for a folder when there is %s, and only then', (_, home) => {
    expect(defaultStoreFolder({ QUERN_STORE: '/srv/store' }, home)).toBe('/srv/store');
    expect(defaultStoreFolder({ XDG_CACHE_HOME: '/x' }, home)).toBe('/x/quern/store');
    expect(() => defaultStoreFolder({}, home)).toThrow(Failure);
    expect(() => defaultStoreFolder({}, home)).toThrow(/no home folder/u);
  });
});
