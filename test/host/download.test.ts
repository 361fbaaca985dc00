import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { download, downloadAll, type DownloadItem, type DownloadOptions } from '../../src/host/download.ts';
import { receiveFile } from '../../src/host/receive-file.ts';
import { processMark } from '../../src/host/store-aside.ts';
import { Store } from '../../src/host/store.ts';
import { failureOf } from '../diagnostics/failure-of.ts';
import { makeWorld, type World } from '../container/world.ts';
import { serveFiles, type FileServer } from './file-server.ts';

const body = Buffer.from('level 4.20 m at the otter bank\n'.repeat(100));
const size = body.length;
const sha256 = createHash('sha256').update(body).digest('hex');

const quick: DownloadOptions = { limits: { connect: 400, stall: 300, pace: 0, redirects: 3 }, pauses: [] };

let server: FileServer;
let world: World;
beforeEach(async () => {
  server = await serveFiles();
  world = makeWorld();
});
afterEach(async () => {
  world.remove();
  await server.close();
});

function item(...paths: readonly string[]): DownloadItem {
  return { urls: paths.map((path) => server.url + path), sha256, size };
}

function stored(): readonly string[] {
  const { folder } = world.host.store;
  return existsSync(folder) ? readdirSync(folder) : [];
}

describe('download', () => {
  it('brings a file into the store, and asks nobody the next time', async () => {
    server.on('/gauge_1.0%2bb1.deb', { body });
    server.on('/gauge_1.0+b1.deb', { body });
    const path = await download(world.host, item('/gauge_1.0%2Bb1.deb'), quick);
    expect(readFileSync(path)).toEqual(body);
    expect(await download(world.host, item('/gauge_1.0%2Bb1.deb'), quick)).toBe(path);
    expect(server.requests).toEqual(['/gauge_1.0+b1.deb']);
    expect(stored()).toEqual([sha256]);
  });

  it('is fetched once by fifty who share a store', async () => {
    server.on('/gauge.deb', { body });
    const { folder } = world.host.store;
    const paths = await Promise.all(
      Array.from({ length: 50 }, () =>
        download({ ...world.host, store: new Store(folder) }, item('/gauge.deb'), quick),
      ),
    );
    expect(new Set(paths).size).toBe(1);
    expect(server.requests).toEqual(['/gauge.deb']);
    expect(stored()).toEqual([sha256]);
  });

  it('is fetched by the next one when whoever was at it is gone', async () => {
    server.on('/gauge.deb', { body });
    const claim = world.host.store.claimPath(sha256);
    mkdirSync(world.host.store.folder, { recursive: true });
    const gone = processMark().replace(/-\d+$/u, `-${2 ** 30}`);
    writeFileSync(claim, gone);
    await download(world.host, item('/gauge.deb'), quick);
    expect(stored()).toEqual([sha256]);
  });

  it('does not wait for another process when it is interrupted', async () => {
    const claim = world.host.store.claimPath(sha256);
    mkdirSync(world.host.store.folder, { recursive: true });
    writeFileSync(claim, processMark());
    const controller = new AbortController();
    const waiting = download({ ...world.host, signal: controller.signal }, item('/gauge.deb'), quick);
    setTimeout(() => controller.abort(new Error('Ctrl-C')), 50);
    await expect(waiting).rejects.toThrow('Ctrl-C');
    expect(stored()).toEqual([`.claim-${sha256}`]);
  });

  it.each<[string, Parameters<FileServer['on']>[1]]>([
    ['has left the first place', { status: 404 }],
    ['is forbidden there', { status: 403 }],
    ['is something else there', { body: Buffer.from(body).fill('x') }],
    ['is longer there', { body: Buffer.concat([body, body]) }],
    ['is longer there, unannounced', { unannounced: Buffer.concat([body, body]) }],
    ['is shorter there', { body: body.subarray(1) }],
    ['breaks off there', { breaksOff: body.subarray(0, 100), length: size }],
    ['stalls there', { stalls: body.subarray(0, 100), length: size }],
    ['never comes from there', 'silent'],
    ['goes round in circles there', { redirect: '/first' }],
    ['leads out of the web there', { redirect: 'file:///etc/passwd' }],
    ['leads to nonsense there', { redirect: 'http://' }],
  ])('goes on to the next URL when the file %s', async (_, answer) => {
    server.on('/first', answer);
    server.on('/second', { body });
    expect(readFileSync(await download(world.host, item('/first', '/second'), quick))).toEqual(body);
    expect(stored()).toEqual([sha256]);
  });

  it('follows redirects, also relative ones', async () => {
    server.on('/a', { redirect: '/pool/b' });
    server.on('/pool/b', { redirect: `c` });
    server.on('/pool/c', { body });
    await download(world.host, item('/a'), quick);
    expect(server.requests).toEqual(['/a', '/pool/b', '/pool/c']);
  });

  it('does not unpack what a server calls packed', async () => {
    const packed = gzipSync(body);
    server.on('/a.gz', { body: packed, headers: { 'content-type': 'application/gzip' } });
    const digest = createHash('sha256').update(packed).digest('hex');
    const path = await download(
      world.host,
      { urls: [`${server.url}/a.gz`], sha256: digest, size: packed.length },
      quick,
    );
    expect(readFileSync(path)).toEqual(packed);
  });

  it('tries again where that may help', async () => {
    server.on('/a', { status: 503 }, { breaksOff: body.subarray(0, 10), length: size }, { body });
    await download(world.host, item('/a'), { ...quick, pauses: [1, 1] });
    expect(server.requests).toHaveLength(3);
  });

  it('does not try again where it cannot help', async () => {
    server.on('/a', { status: 404 });
    server.on('/b', { body: 'other' });
    await failureOf(download(world.host, item('/a', '/b'), { ...quick, pauses: [1, 1] }));
    expect(server.requests).toEqual(['/a', '/b']);
  });

  it('asks the mirrors of this machine instead', async () => {
    const mirrored = makeWorld({ QUERN_MIRRORS: `http://deb.otter-bank.example/debian=${server.url}/near` });
    server.on('/near/pool/a', { body });
    await download(
      mirrored.host,
      { urls: ['http://deb.otter-bank.example/debian/pool/a'], sha256, size },
      quick,
    );
    mirrored.remove();
  });

  it('takes back in the progress what a failed try has brought', async () => {
    server.on('/a', { breaksOff: body.subarray(0, 100), length: size });
    server.on('/b', { body });
    let sum = 0;
    await download(world.host, item('/a', '/b'), { ...quick, onBytes: (count) => (sum += count) });
    expect(sum).toBe(size);
  });
});

describe('download, when it cannot be', () => {
  it('says which places the file has left, and what to do', async () => {
    const report = await failureOf(download(world.host, item('/pool/a.deb', '/snapshot/a.deb'), quick));
    expect(report).toMatchObject({
      code: 'host/gone',
      exit: 3,
      message: 'a.deb has left every place that it could be fetched from',
    });
    expect(report.notes.slice(0, 2)).toEqual([
      `${server.url}/pool/a.deb: it answered 404 Not Found`,
      `${server.url}/snapshot/a.deb: it answered 404 Not Found`,
    ]);
    expect(report.help).toContain('QUERN_MIRRORS');
    expect(report.help).toContain('quern pin --refresh packages');
    expect(stored()).toEqual([]);
  });

  it('says which place gave something else', async () => {
    server.on('/b', { body: Buffer.from(body).fill('x') });
    const report = await failureOf(download(world.host, item('/a', '/b'), quick));
    expect(report).toMatchObject({ code: 'host/wrong-digest', exit: 4 });
    expect(report.notes[0]).toContain('/a: it answered 404');
    expect(report.notes[1]).toMatch(
      new RegExp(`/b: the content has the SHA-256 [0-9a-f]{64}, not ${sha256}`),
    );
    expect(stored()).toEqual([]);
  });

  it.each<[string, Parameters<FileServer['on']>[1], string]>([
    [
      'stalls',
      { stalls: body.subarray(0, 100), length: size },
      `no byte for 0.3 s after 100 of ${size} bytes`,
    ],
    ['never comes', 'silent', 'no answer for 0.4 s'],
    ['breaks off', { breaksOff: body.subarray(0, 100), length: size }, `after 100 of ${size} bytes`],
    ['ends early', { unannounced: body.subarray(0, 100) }, `it ended after 100 of ${size} bytes`],
    ['goes round in circles', { redirect: '/a' }, 'it redirects more than 3 times'],
    [
      'leads out of the web',
      { redirect: 'ftp://a.example/b' },
      'it leads to ftp://a.example/b, which is not http or https',
    ],
    ['fails at the server', { status: 500 }, 'it answered 500 Internal Server Error'],
  ])('says that the file %s', async (_, answer, why) => {
    server.on('/a', answer);
    const report = await failureOf(download(world.host, item('/a'), quick));
    expect(report).toMatchObject({ code: 'host/download-failed', exit: 3 });
    expect(report.notes[0]).toContain(why);
    expect(stored()).toEqual([]);
  });

  it.each<[string, string, string]>([
    ['there is no such host', 'http://gauge.invalid/a', 'there is no host of that name'],
    ['nobody listens', 'http://127.0.0.1:1/a', 'the connection was refused'],
    ['it is no URL', 'gauge', 'it is no URL'],
  ])('says that %s', async (_, url, why) => {
    const report = await failureOf(download(world.host, { urls: [url], sha256, size }, quick));
    expect(report.code).toBe('host/download-failed');
    // Without a resolver the answer is that the name could not be resolved.
    expect(report.notes[0]).toMatch(new RegExp(`${why}|the host name could not be resolved|bad port`));
  });

  it('says that there is no place at all', async () => {
    expect((await failureOf(download(world.host, item(), quick))).message).toContain(
      'there is no place to fetch',
    );
  });

  it('stops at once when it is interrupted, and leaves nothing', async () => {
    const reason = new Error('Ctrl-C');
    server.on('/a', { stalls: body.subarray(0, 100), length: size });
    setTimeout(() => world.interrupt(reason), 100);
    const slow = { limits: { connect: 60_000, stall: 60_000, pace: 0, redirects: 3 }, pauses: [60_000] };
    await expect(download(world.host, item('/a'), slow)).rejects.toBe(reason);
    expect(stored()).toEqual([]);
  });

  it('stops between two tries as well', async () => {
    const reason = new Error('Ctrl-C');
    server.on('/a', { status: 503 });
    setTimeout(() => world.interrupt(reason), 100);
    await expect(download(world.host, item('/a'), { ...quick, pauses: [60_000] })).rejects.toBe(reason);
  });
});

describe('downloadAll', () => {
  const many = (count: number): readonly DownloadItem[] =>
    Array.from({ length: count }, (_, place) => {
      const content = Buffer.from(`package ${place}`);
      server.on(`/${place}`, { body: content });
      return {
        urls: [`${server.url}/${place}`],
        sha256: createHash('sha256').update(content).digest('hex'),
        size: content.length,
      };
    });

  it('brings all, tells of one stage, and answers in their order', async () => {
    const items = many(30);
    const paths = await downloadAll(world.host, 'fetching packages', items, quick);
    expect(paths.map((path) => readFileSync(path, 'utf8'))).toEqual(
      items.map((_, place) => `package ${place}`),
    );
    const total = items.reduce((sum, one) => sum + one.size, 0);
    expect(world.told[0]).toBe('stage fetching packages');
    expect(world.told.at(-1)).toBe(`advance ${total}/${total} bytes`);
    expect(world.told.filter((line) => line.startsWith('stage'))).toHaveLength(1);
  });

  it('has nothing to do for nothing', async () => {
    expect(await downloadAll(world.host, 'fetching packages', [], quick)).toEqual([]);
  });

  it('stops the others when one fails, and says which', async () => {
    const items = [...many(4), item('/gone')];
    server.on('/0', { stalls: Buffer.from('p'), length: 9 });
    const patient = { ...quick, limits: { connect: 60_000, stall: 60_000, pace: 0, redirects: 3 } };
    const report = await failureOf(downloadAll(world.host, 'fetching packages', items, patient));
    expect(report.code).toBe('host/gone');
    expect(stored().filter((name) => name.startsWith('.'))).toEqual([]);
  });

  it('throws the reason of an interruption', async () => {
    const reason = new Error('Ctrl-C');
    const items = many(3);
    server.on('/1', 'silent');
    setTimeout(() => world.interrupt(reason), 100);
    const patient = { ...quick, limits: { connect: 60_000, stall: 60_000, pace: 0, redirects: 3 } };
    await expect(downloadAll(world.host, 'fetching packages', items, patient)).rejects.toBe(reason);
  });
});

describe('a download that breaks off', () => {
  const retrying = { ...quick, pauses: [1, 1, 1, 1] };

  it.each([
    ['that tells its versions apart', '"one"'],
    ['that does not: the digest tells in the end', undefined],
  ])('goes on where it was, with a server %s', async (_, etag) => {
    server.on('/a', { parts: body, cutAfter: 1000, ...(etag !== undefined && { etag }) });
    let sum = 0;
    const counted = { ...retrying, onBytes: (count: number) => (sum += count) };
    expect(readFileSync(await download(world.host, item('/a'), counted))).toEqual(body);
    expect(server.headers.map(({ range }) => range)).toEqual([
      undefined,
      'bytes=1000-',
      'bytes=2000-',
      'bytes=3000-',
    ]);
    expect(sum).toBe(size);
  });

  it('begins anew when the file has changed meanwhile', async () => {
    const old = Buffer.from(body).fill('o');
    server.on('/a', { parts: old, cutAfter: 1000, etag: '"old"' }, { parts: body, etag: '"new"' });
    await download(world.host, item('/a'), retrying);
    expect(server.headers[1]?.['if-range']).toBe('"old"');
  });

  it('begins anew when the parts do not make the file', async () => {
    const old = Buffer.from(body).fill('o');
    server.on('/a', { parts: old, cutAfter: 1000 }, { parts: body });
    expect(readFileSync(await download(world.host, item('/a'), retrying))).toEqual(body);
    expect(server.requests).toHaveLength(3);
    expect(stored()).toEqual([sha256]);
  });

  it('begins anew when a server does not care whether the file has changed', async () => {
    const old = Buffer.from(body).fill('o');
    const now = { parts: body, etag: '"new"', heedless: true } as const;
    server.on('/a', { parts: old, cutAfter: 1000, etag: '"old"' }, now);
    const incoming = await world.host.store.receive();
    const url = `${server.url}/a`;
    const { joined } = await receiveFile(world.host, url, incoming, { pinned: false }, retrying);
    expect(joined).toBe(false);
    expect((await world.host.store.keep(incoming)).sha256).toBe(sha256);
    expect(server.headers.map(({ range }) => range)).toEqual([undefined, 'bytes=1000-', undefined]);
  });

  it('begins anew with a server that hands out no parts', async () => {
    server.on('/a', { breaksOff: body.subarray(0, 500), length: size }, { body });
    expect(readFileSync(await download(world.host, item('/a'), retrying))).toEqual(body);
  });
});

it.each([
  ['called so', { 'content-type': 'text/html; charset=utf-8' }, '<p>log in'],
  ['not called so', {}, '\n<!DOCTYPE html>\n<html>'.padEnd(size)],
])('says that there is a web page in the place of a file, %s', async (_, headers, page) => {
  server.on('/a', { body: page, headers });
  const report = await failureOf(download(world.host, item('/a'), quick));
  expect(report).toMatchObject({ code: 'host/wrong-digest', exit: 4 });
  expect(report.notes[0]).toContain('/a: it is a web page, and not the file');
  expect(stored()).toEqual([]);
});

it('says where a file leads that is fetched from outside only', async () => {
  server.on('/a', { redirect: `http://localhost:${server.port}/b` });
  const report = await failureOf(download(world.host, item('/a'), quick));
  expect(report).toMatchObject({ code: 'host/forbidden-target', exit: 4 });
  expect(report.help).toContain('QUERN_ALLOWED_HOSTS');
  expect(server.requests).toEqual(['/a']);
});
