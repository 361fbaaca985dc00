/** The referee for signatures is GnuPG: what gpg signs is accepted, and gpgv is asked about the rest. */
import { existsSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';

import { pinRemote } from '../../src/source/pin-remote.ts';
import { fetchPinnedTar, heldTar } from '../../src/source/remote-tarball.ts';
import type { RemotePin } from '../../src/spec/lock.ts';
import type { ReleaseSource, RemoteSource, UrlSource } from '../../src/spec/spec.ts';
import { failureOf } from '../diagnostics/failure-of.ts';
import { makeWorld, type World } from '../container/world.ts';
import { serveFiles, type Answer, type FileServer } from '../host/file-server.ts';
import { signingKeys, type ReleaseKey } from './release-keys.ts';
import {
  gpgvStatus,
  mirrorsTo,
  pathAt,
  sha256,
  tarballName,
  trimmedSource,
  version,
  type Site,
  type Tarball,
} from './release-server.ts';

const limits = { connect: 2000, stall: 400, pace: 1000, redirects: 3 };
const quick = { limits, pauses: [] };
const signature = `${tarballName}.sign`;

let source: Tarball;
let keys: Awaited<ReturnType<typeof signingKeys>>;
let good: Uint8Array;
beforeAll(async () => {
  source = await trimmedSource();
  keys = await signingKeys();
  good = await keys.otter.sign(source.tar);
}, 120_000);
afterAll(() => keys.remove());

let server: FileServer;
let world: World;
beforeEach(async () => {
  server = await serveFiles();
  world = makeWorld({ QUERN_MIRRORS: mirrorsTo(server) });
  writeFileSync(join(world.folder, 'keys.asc'), keys.otter.armored);
});
afterEach(async () => {
  world.remove();
  await server.close();
});

function put(site: Site, file: string, ...answers: readonly Answer[]): void {
  server.on(pathAt(site, file), ...answers);
}

function release(key: ReleaseKey = keys.otter, more: Partial<ReleaseSource> = {}): ReleaseSource {
  const { fingerprint } = key;
  return {
    kind: 'release',
    site: 'kernel.org',
    signers: [fingerprint],
    keyring: 'keys.asc',
    keys: [],
    ...more,
  };
}

const url = (more: Partial<UrlSource>): UrlSource => ({
  kind: 'url',
  urls: ['https://kernels.otter-bank.example/linux.tar.xz'],
  signers: [],
  keys: [],
  ...more,
});

async function pin(
  asked: RemoteSource = release(),
  more: Partial<Parameters<typeof pinRemote>[3] & { readonly known: RemotePin['keys'] }> = {},
): ReturnType<typeof pinRemote> {
  const { known = [], ...options } = more;
  const locate = (path: string): Promise<string> => Promise.resolve(join(world.folder, path));
  return pinRemote(world.host, { source: asked, version, keys: known }, locate, { ...quick, ...options });
}

function stored(): readonly string[] {
  const { folder } = world.host.store;
  return existsSync(folder) ? readdirSync(folder).filter((name) => name !== 'fetched') : [];
}

describe('a release', () => {
  it('is pinned by its tar and its signer, and by no name of a person', async () => {
    put('cdn', signature, { body: good });
    put('cdn', `${tarballName}.xz`, { body: source.xz });
    const { value, diagnostics } = await pin();
    expect(diagnostics).toEqual([]);
    expect(value).toEqual({
      kind: 'release',
      urls: ['xz', 'gz'].flatMap((packed) =>
        ['cdn.kernel.org', 'www.kernel.org', 'mirrors.edge.kernel.org'].map(
          (host) => `https://${host}/pub/linux/kernel/v6.x/linux-6.1.192.tar.${packed}`,
        ),
      ),
      size: source.xz.length,
      sha256: sha256(source.xz),
      tar: { size: source.tar.length, sha256: sha256(source.tar) },
      signature: {
        sha256: sha256(good),
        signer: keys.otter.fingerprint,
        made: expect.stringMatching(/^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$/u),
      },
      keyring: { path: 'keys.asc', sha256: sha256(Buffer.from(keys.otter.armored)) },
      keys: [],
    });
    expect(stored()).toEqual([sha256(source.xz)]);
    expect(world.told).toContain('stage fetching the source');
    // it is not fetched again, and verified all the same
    await pin();
    expect(server.requests.filter((path) => path.endsWith('.xz'))).toHaveLength(1);
  });

  it('comes from another place, and compressed otherwise, where the first has left', async () => {
    put('www', signature, { body: good });
    put('www', `${tarballName}.gz`, { body: source.gz });
    const { value } = await pin();
    expect(value.sha256).toBe(sha256(source.gz));
    expect(value.tar.sha256).toBe(sha256(source.tar));
  });

  it.each(['source/altered', 'source/not-an-archive'] as const)(
    'comes from another place where the first has something else: %s',
    async (code) => {
      const wrong =
        code === 'source/altered' ? changed(source.tar) : Buffer.from('level 4.20 m\n'.repeat(99));
      put('cdn', signature, { body: good });
      put('cdn', `${tarballName}.xz`, { body: wrong });
      put('edge', `${tarballName}.gz`, { body: source.gz });
      expect((await pin()).value.sha256).toBe(sha256(source.gz));
      expect(stored()).toEqual([sha256(source.gz)]);
      server.on(pathAt('edge', `${tarballName}.gz`), { status: 404 });
      const alone = makeWorld({ QUERN_MIRRORS: mirrorsTo(server) });
      world.remove();
      world = alone;
      writeFileSync(join(world.folder, 'keys.asc'), keys.otter.armored);
      const report = await failureOf(pin());
      expect(report).toMatchObject({ code, exit: 4 });
      expect(report.message).toContain(`${server.url}${pathAt('cdn', `${tarballName}.xz`)}`);
      expect(report.notes.join('\n')).toContain(`${pathAt('edge', `${tarballName}.gz`)}: it answered 404`);
      expect(stored()).toEqual([]);
    },
  );
});

function changed(bytes: Uint8Array): Buffer {
  const copy = Buffer.from(bytes);
  copy[5000] = (copy[5000] ?? 0) ^ 1;
  return copy;
}

describe('a signature', () => {
  type Case = readonly [
    name: string,
    code: string,
    /** What is signed, and by whom; the keyring has the key of `by`. */
    make: () => Promise<{ readonly bytes: Uint8Array; readonly by: ReleaseKey; readonly ring?: ReleaseKey }>,
    /** A word that gpgv says about it. */
    gpgv: string,
  ];
  const now = (): Date => new Date();

  it.each<Case>([
    [
      'by nobody who is accepted',
      'source/wrong-key',
      async () => ({ bytes: await keys.heron.sign(source.tar), by: keys.otter }),
      'NO_PUBKEY',
    ],
    [
      'over something else',
      'source/altered',
      async () => ({ bytes: await keys.otter.sign(changed(source.tar)), by: keys.otter }),
      'BADSIG',
    ],
    [
      'over the compressed file',
      'source/wrong-stream',
      async () => ({ bytes: await keys.otter.sign(source.xz), by: keys.otter }),
      'BADSIG',
    ],
    [
      'by a key that had expired',
      'source/key-expired',
      async () => ({ bytes: await keys.late.sign(source.tar), by: keys.late }),
      'EXPKEYSIG',
    ],
    [
      'by a key that is revoked',
      'source/key-revoked',
      async () => ({ bytes: await keys.revoked.sign(source.tar), by: keys.revoked }),
      'REVKEYSIG',
    ],
    [
      'by a subkey that is revoked',
      'source/key-revoked',
      async () => ({ bytes: await keys.subkeyRevoked.sign(source.tar), by: keys.subkeyRevoked }),
      'REVKEYSIG',
    ],
    // GnuPG of Debian refuses MD5 and takes SHA-1: by RFC 9580 section 9.5 neither may count
    [
      'with SHA-1',
      'source/weak-signature',
      async () => ({ bytes: await keys.gpgSign(source.tar, '--digest-algo', 'SHA1'), by: keys.gpg }),
      'GOODSIG',
    ],
    // gpgv does not look at the clock
    [
      'from the future',
      'source/signature-refused',
      async () => ({
        bytes: await keys.otter.sign(source.tar, new Date(now().getTime() + 864e5)),
        by: keys.otter,
      }),
      'GOODSIG',
    ],
    // one over a text leaves its line ends open, in GnuPG the blanks before them as well
    [
      'over a text',
      'source/bad-signature-form',
      async () => ({ bytes: await keys.gpgSign(source.tar, '--textmode'), by: keys.gpg }),
      'GOODSIG',
    ],
    [
      'that is none',
      'source/bad-signature-form',
      async () => ({ bytes: Buffer.from('<!doctype html><title>404</title>'), by: keys.otter }),
      'NODATA',
    ],
    [
      'cut off',
      'source/bad-signature-form',
      async () => ({ bytes: good.subarray(0, 40), by: keys.otter }),
      'NODATA',
    ],
    [
      'over a key and not a file',
      'source/bad-signature-form',
      async () => ({ bytes: await keys.certification(), by: keys.otter }),
      'ERRSIG',
    ],
  ])(
    '%s does not count, and it is said why',
    async (_, code, make, gpgv) => {
      const { bytes, by } = await make();
      put('cdn', signature, { body: bytes });
      put('cdn', `${tarballName}.xz`, { body: source.xz });
      writeFileSync(join(world.folder, 'keys.asc'), by.armored);
      expect(await failureOf(pin(release(by)))).toMatchObject({ code, exit: 4 });
      expect(stored()).toEqual([]);
      expect([...gpgvStatus(await by.binary(), bytes, source.tar)].join(' ')).toContain(gpgv);
    },
    30_000,
  );

  it.each<readonly [string, () => Promise<Uint8Array>, () => ReleaseKey]>([
    ['armored, by gpg', () => keys.gpgSign(source.tar, '--armor'), () => keys.gpg],
    ['binary, by gpg', () => keys.gpgSign(source.tar), () => keys.gpg],
    ['by a subkey', () => keys.withSubkey.sign(source.tar), () => keys.withSubkey],
    [
      'beside one of somebody else',
      async () => Buffer.concat([await keys.heron.sign(source.tar), good]),
      () => keys.otter,
    ],
  ])(
    '%s counts',
    async (_, make, by) => {
      const bytes = await make();
      put('cdn', signature, { body: bytes });
      put('cdn', `${tarballName}.xz`, { body: source.xz });
      writeFileSync(join(world.folder, 'keys.asc'), by().armored);
      const { value } = await pin(release(by()));
      expect(value.signature?.signer).toBe(by().fingerprint);
      expect(gpgvStatus(await by().binary(), bytes, source.tar)).toContain('VALIDSIG');
    },
    30_000,
  );

  it('beside one that is not over it counts, where gpgv stops at the first', async () => {
    put('cdn', signature, { body: Buffer.concat([await keys.otter.sign(source.xz), good]) });
    put('cdn', `${tarballName}.xz`, { body: source.xz });
    expect((await pin()).value.signature?.signer).toBe(keys.otter.fingerprint);
  });

  it('by a key that has expired since counts, with a warning', async () => {
    put('cdn', signature, { body: await keys.expired.sign(source.tar, keys.expiredWasGood) });
    put('cdn', `${tarballName}.xz`, { body: source.xz });
    writeFileSync(join(world.folder, 'keys.asc'), keys.expired.armored);
    const { value, diagnostics } = await pin(release(keys.expired));
    expect(value.signature?.made).toBe('2020-01-02T00:00:00Z');
    expect(diagnostics).toMatchObject([{ code: 'source/key-expired-since', severity: 'warning' }]);
  });

  it('that is missing stops it before anything large is fetched', async () => {
    put('cdn', `${tarballName}.xz`, { body: source.xz });
    const report = await failureOf(pin());
    expect(report).toMatchObject({ code: 'source/no-signature', exit: 4 });
    expect(server.requests.every((path) => path.endsWith('.sign'))).toBe(true);
  });

  it('that cannot be fetched is another matter', async () => {
    for (const site of ['cdn', 'www', 'edge'] as const) put(site, signature, { status: 503 });
    expect(await failureOf(pin())).toMatchObject({ code: 'source/unreachable', exit: 3 });
  });
});

describe('keys', () => {
  beforeEach(() => {
    put('cdn', signature, { body: good });
    put('cdn', `${tarballName}.xz`, { body: source.xz });
  });

  it.each<readonly [string, () => Promise<string | Uint8Array>]>([
    ['binary', () => keys.otter.binary()],
    ['several, binary', async () => Buffer.concat([await keys.heron.binary(), await keys.otter.binary()])],
    [
      'several, armored one after the other',
      async () => `${keys.heron.armored}\nof ours:\n${keys.otter.armored}`,
    ],
    ['as gpg exports them', async () => keys.gpgExport(keys.otter)],
  ])('are read from a file: %s', async (_, make) => {
    writeFileSync(join(world.folder, 'keys.asc'), await make());
    expect((await pin()).value.signature?.signer).toBe(keys.otter.fingerprint);
  });

  it.each<readonly [string, string, () => Promise<string | Uint8Array>]>([
    ['of somebody else', 'source/no-key', async () => keys.heron.armored],
    ['that are none', 'source/bad-keyring', async () => 'keys'],
    ['that are private', 'source/bad-keyring', () => keys.otter.secret()],
  ])('in a file %s do not do', async (_, code, make) => {
    writeFileSync(join(world.folder, 'keys.asc'), await make());
    expect(await failureOf(pin())).toMatchObject({ code, exit: 4 });
    expect(server.requests).toEqual([]);
  });

  it('are told of when a subkey is named', async () => {
    const { withSubkey } = keys;
    writeFileSync(join(world.folder, 'keys.asc'), withSubkey.armored);
    const report = await failureOf(pin(release(withSubkey, { signers: [await withSubkey.subkey()] })));
    expect(report.notes.join()).toContain(`is a subkey of ${withSubkey.fingerprint}`);
  });

  // The hash is that of `gpg --with-wkd-hash`.
  it.each(['advanced', 'direct'] as const)(
    'are fetched from the directory of a domain, by the %s method, once',
    async (method) => {
      const hash = keys.wkdHash('releases@otter-bank.example');
      const domain = method === 'advanced' ? 'otter-bank.example/' : '';
      const path = `/${method}/.well-known/openpgpkey/${domain}hu/${hash}?l=releases`;
      server.on(path, { body: await keys.otter.binary() });
      const { keyring: _, ...asked } = release(keys.otter, { keys: ['releases@otter-bank.example'] });
      const { value } = await pin(asked);
      expect(value.keys).toMatchObject([
        { address: 'releases@otter-bank.example', fingerprint: keys.otter.fingerprint },
      ]);
      server.on(path, { status: 404 });
      expect((await pin(asked, { known: value.keys })).value).toEqual(value);
      expect(await failureOf(pin(asked))).toMatchObject({ code: 'source/key-unreachable', exit: 3 });
      server.on(path, { body: await keys.heron.binary() });
      expect(await failureOf(pin(asked))).toMatchObject({ code: 'source/no-key', exit: 4 });
    },
  );
});

describe('a signed list of digests', () => {
  const listed = (digest: string): string =>
    `${digest}  ${tarballName}.xz\n${'0'.repeat(64)}  other.tar.xz\n`;
  beforeEach(() => {
    writeFileSync(join(world.folder, 'keys.asc'), keys.otter.armored + keys.heron.armored);
    put('cdn', `${tarballName}.xz`, { body: source.xz });
  });
  const withSums = (): ReleaseSource => release(keys.otter, { sums: keys.heron.fingerprint });

  it('must name the file as well', async () => {
    put('cdn', signature, { body: good });
    put('cdn', 'sha256sums.asc', { body: await keys.heron.clearsign(listed(sha256(source.xz))) });
    expect((await pin(withSums())).value.signature?.signer).toBe(keys.otter.fingerprint);
  });

  it.each<readonly [string, string, () => Promise<Answer>]>([
    [
      'that names another digest',
      'source/sums-differ',
      async () => ({ body: await keys.heron.clearsign(listed('a'.repeat(64))) }),
    ],
    [
      'that does not name it',
      'source/sums-missing',
      async () => ({ body: await keys.heron.clearsign('none\n') }),
    ],
    ['that is not there', 'source/sums-missing', async () => ({ status: 404 })],
    [
      'by somebody else',
      'source/wrong-key',
      async () => ({ body: await keys.otter.clearsign(listed(sha256(source.xz))) }),
    ],
  ])('%s stops it', async (_, code, make) => {
    put('cdn', signature, { body: good });
    put('cdn', 'sha256sums.asc', await make());
    expect(await failureOf(pin(withSums()))).toMatchObject({ code, exit: 4 });
    expect(stored()).toEqual([]);
  });

  it('does not take the place of the signature', async () => {
    put('cdn', 'sha256sums.asc', { body: await keys.heron.clearsign(listed(sha256(source.xz))) });
    expect(await failureOf(pin(withSums()))).toMatchObject({ code: 'source/no-signature' });
    put('cdn', signature, { body: await keys.heron.sign(source.tar) });
    expect(await failureOf(pin(withSums()))).toMatchObject({ code: 'source/wrong-key' });
  });
});

describe('a URL', () => {
  it.each(['xz', 'tar'] as const)(
    'is known by the digest of what it has, or of the tar inside: %s',
    async (form) => {
      server.on('/kernels/linux.tar.xz', { body: source.xz });
      const { value } = await pin(url({ sha256: sha256(source[form]) }));
      expect(value).toMatchObject({ kind: 'url', tar: { sha256: sha256(source.tar) } });
      expect(value.signature).toBeUndefined();
    },
  );

  it('is known by a signature in a file', async () => {
    server.on('/kernels/linux.tar.xz', { body: source.xz });
    writeFileSync(join(world.folder, 'linux.sign'), good);
    const { fingerprint } = keys.otter;
    const asked = url({
      signature: { kind: 'file', path: 'linux.sign' },
      signers: [fingerprint],
      keyring: 'keys.asc',
    });
    expect((await pin(asked)).value.signature?.signer).toBe(fingerprint);
  });

  type Fault = readonly [name: string, code: string, exit: number, answer: () => Answer, note?: string];
  it.each(
    (
      [
        ['another file', 'source/wrong-tar', 4, () => ({ body: source.gz.subarray(0) })],
        [
          'a web page',
          'host/wrong-digest',
          4,
          () => ({ body: '<!DOCTYPE html>\n<html>log in' }),
          'a web page',
        ],
        [
          'a file that breaks off',
          'host/download-failed',
          3,
          () => ({ breaksOff: source.xz.subarray(0, 999), length: source.xz.length }),
        ],
        ['a truncated file', 'source/not-an-archive', 4, () => ({ body: source.xz.subarray(0, 9999) })],
        ['a truncated gzip file', 'source/not-an-archive', 4, () => ({ body: source.gz.subarray(0, 9999) })],
        ['no archive', 'source/not-an-archive', 4, () => ({ body: 'x'.repeat(999) })],
        ['a bzip2 file', 'source/unread-compression', 2, () => ({ body: `BZh9${'x'.repeat(600)}` })],
        [
          'a file without end',
          'host/wrong-digest',
          4,
          () => ({ unannounced: Buffer.alloc(5 << 20, 'x') }),
          'goes on after',
        ],
        [
          'a file that is said to be enormous',
          'host/wrong-digest',
          4,
          () => ({ stalls: source.xz.subarray(0, 9), length: 2 ** 40 }),
          'the most that is reasonable',
        ],
        ['a few bytes that unpack to gigabytes', 'source/too-large', 4, () => ({ body: bomb() })],
        [
          'a byte now and then',
          'host/download-failed',
          3,
          () => ({ drips: Buffer.from('x'), every: 50 }),
          'less than 1000 bytes',
        ],
        ['nothing', 'host/gone', 3, () => ({ status: 404 })],
        [
          'a circle',
          'host/download-failed',
          3,
          () => ({ redirect: '/kernels/linux.tar.xz' }),
          'redirects more than 3 times',
        ],
        [
          'a way to this machine',
          'host/forbidden-target',
          4,
          () => ({ redirect: 'http://localhost:1/' }),
          'it leads to localhost',
        ],
        [
          'a way to the metadata of a cloud',
          'host/forbidden-target',
          4,
          () => ({ redirect: 'http://169.254.169.254/latest' }),
          'it leads to',
        ],
      ] satisfies readonly Fault[]
    ).map(([name, code, exit, answer, ...note]) => [name, code, exit, answer, note.join('')] as const),
  )('that has %s is refused: %s', async (_, code, exit, answer, note) => {
    server.on('/kernels/linux.tar.xz', answer());
    const most = code === 'host/wrong-digest' ? { most: 4 << 20 } : {};
    const report = await failureOf(
      pin(url({ sha256: 'a'.repeat(64) }), { mostUnpacked: 8 << 20, ...most, pauses: [1] }),
    );
    expect(report).toMatchObject({ code, exit });
    expect([report.message, ...report.notes].join('\n')).toContain('/kernels/linux.tar.xz');
    expect(report.notes.join('\n')).toContain(note);
    expect(stored()).toEqual([]);
    expect(readdirSync(world.host.store.folder).filter((name) => name.startsWith('.'))).toEqual([]);
  });

  function bomb(): Buffer {
    const block = Buffer.alloc(12 << 20);
    source.tar.copy(block, 0, 0, 512);
    return gzipSync(block);
  }

  it('goes on where it broke off', async () => {
    server.on('/kernels/linux.tar.xz', {
      parts: source.xz,
      cutAfter: Math.ceil(source.xz.length / 3),
      etag: '"a"',
    });
    await pin(url({ sha256: sha256(source.xz) }), { pauses: [1, 1, 1] });
    expect(server.headers.map(({ range }) => range !== undefined)).toEqual([false, true, true]);
  });
});

describe('a lock', () => {
  const urls = ['one', 'two', 'three'].map(
    (site) => `https://kernels.otter-bank.example/${site}/linux.tar.xz`,
  );
  const pinned = (): RemotePin => ({
    kind: 'url',
    urls,
    size: source.xz.length,
    sha256: sha256(source.xz),
    tar: { size: source.tar.length, sha256: sha256(source.tar) },
    keys: [],
  });

  it.each(['tar', 'gz', 'xz'] as const)('takes the same tar from any place: %s', async (form) => {
    server.on('/kernels/three/linux.tar.xz', { body: source[form] });
    await fetchPinnedTar(world.host, pinned(), quick);
    expect(stored()).toEqual([sha256(source[form])]);
    expect(await heldTar(world.host, pinned())).toBe(sha256(source[form]));
    const { length } = server.requests;
    await fetchPinnedTar(world.host, pinned(), quick);
    expect(server.requests).toHaveLength(length);
  });

  it('says which place has something else', async () => {
    server.on('/kernels/two/linux.tar.xz', { body: changed(source.tar) });
    const report = await failureOf(fetchPinnedTar(world.host, pinned(), quick));
    expect(report).toMatchObject({ code: 'source/wrong-tar', exit: 4 });
    expect(report.message).toContain('/kernels/two/linux.tar.xz is not what was pinned');
    expect(stored()).toEqual([]);
  });

  it('does not believe a note that came back from a cache', async () => {
    server.on('/kernels/one/linux.tar.xz', { body: source.gz });
    await fetchPinnedTar(world.host, pinned(), quick);
    const other = await world.host.store.add([changed(source.tar)]);
    for (const name of readdirSync(join(world.host.store.folder, 'fetched')))
      writeFileSync(join(world.host.store.folder, 'fetched', name), `${other.sha256}\n`);
    const { Store } = await import('../../src/host/store.ts');
    const later = { ...world.host, store: new Store(world.host.store.folder) };
    expect(await heldTar(later, pinned())).toBeUndefined();
  });
});
