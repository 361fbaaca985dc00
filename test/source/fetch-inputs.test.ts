import { createHash } from 'node:crypto';
import { appendFileSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { assertLocalSource, fetchInputs, fetchSource } from '../../src/source/fetch-inputs.ts';
import type { Locate } from '../../src/source/locate.ts';
import { storeTarball } from '../../src/source/local-tarball.ts';
import { storeTree } from '../../src/source/tree-archive.ts';
import type { Inputs, PackagePin, SourcePin } from '../../src/spec/lock.ts';
import { failureOf } from '../diagnostics/failure-of.ts';
import { makeWorld, type World } from '../container/world.ts';
import { serveFiles, type FileServer } from '../host/file-server.ts';

const quick = { limits: { connect: 1000, stall: 1000, pace: 0, redirects: 3 }, pauses: [] };

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

const locate: Locate = (path) => Promise.resolve(join(world.folder, path));

const contentOf = (name: string): Buffer => Buffer.from(`the package ${name}`);

function pinOf(name: string, path: string): PackagePin {
  const content = contentOf(name);
  const sha256 = createHash('sha256').update(content).digest('hex');
  const file = { origin: 'debian', path, size: content.length, sha256 };
  return { package: name, version: '1.0', architecture: 'amd64', essential: false, ...file };
}

const gauge = pinOf('gauge', 'pool/main/g/gauge/gauge_1.0+b1_amd64.deb');
const otter = pinOf('otter', 'pool/main/o/otter/otter_1.0_amd64.deb');
const linux = pinOf('linux-source-6.1', 'pool/main/l/linux/linux-source-6.1_6.1.192-2_all.deb');
const debianSource: SourcePin = { kind: 'debian', ...linux };

function inputsWith(source: SourcePin, packages: readonly PackagePin[] = [gauge, otter]): Inputs {
  const origins = {
    debian: { url: `${server.url}/debian`, snapshot: `${server.url}/snapshot/20261121T000000Z` },
  };
  return { origins, indexes: [], source, fragments: [], patches: [], packages };
}

function serve(where: string, ...pins: readonly PackagePin[]): void {
  for (const pin of pins) server.on(`/${where}/${pin.path}`, { body: contentOf(pin.package) });
}

describe('fetchInputs', () => {
  it('brings the source and all packages, and tells of one stage', async () => {
    serve('debian', gauge, otter, linux);
    await fetchInputs(world.host, inputsWith(debianSource), locate, quick);
    for (const { sha256, package: name } of [gauge, otter, linux])
      expect(readFileSync(world.host.store.path(sha256))).toEqual(contentOf(name));
    expect(world.told[0]).toBe('stage fetching source and packages');
    expect(server.requests).toHaveLength(3);
    await fetchInputs(world.host, inputsWith(debianSource), locate, quick);
    expect(server.requests).toHaveLength(3);
  });

  it('takes from the dated copy what has left the archive', async () => {
    serve('debian', otter, linux);
    serve('snapshot/20261121T000000Z', gauge);
    await fetchInputs(world.host, inputsWith(debianSource), locate, quick);
    expect(readFileSync(world.host.store.path(gauge.sha256))).toEqual(contentOf('gauge'));
  });

  it('says which package is nowhere, where it looked and what to do', async () => {
    serve('debian', otter, linux);
    const report = await failureOf(fetchInputs(world.host, inputsWith(debianSource), locate, quick));
    expect(report).toMatchObject({ code: 'host/gone', exit: 3 });
    expect(report.message).toContain('gauge_1.0+b1_amd64.deb');
    expect(report.notes.slice(0, 2).join('\n')).toMatch(/\/debian\/pool.*404[\s\S]*\/snapshot\/.*404/);
    expect(report.help).toContain('quern pin --refresh packages');
  });

  it('takes a replaced package from neither, and says who gave what', async () => {
    serve('debian', otter, linux);
    server.on(`/debian/${gauge.path}`, { body: Buffer.from(contentOf('gauge')).fill('x') });
    const report = await failureOf(fetchInputs(world.host, inputsWith(debianSource), locate, quick));
    expect(report).toMatchObject({ code: 'host/wrong-digest', exit: 4 });
  });

  it('brings the source alone', async () => {
    serve('debian', linux);
    await fetchSource(world.host, inputsWith(debianSource), locate, quick);
    expect(server.requests).toEqual([`/debian/${linux.path}`]);
  });
});

describe('fetchInputs of a source on this machine', () => {
  it.each(['the same', 'no'] as const)('reads an archive again when the store has %s file', async (kind) => {
    const path = join(world.folder, 'linux.tar.gz');
    writeFileSync(path, gzipSync('a source'));
    const { sha256, size } = await storeTarball(world.host, path);
    const other = makeWorld();
    const host = kind === 'no' ? other.host : world.host;
    const source = { kind: 'tarball', path: 'linux.tar.gz', sha256, size } as const;
    await fetchInputs(host, inputsWith(source, []), locate, quick);
    expect(await host.store.has(sha256)).toBe(true);
    other.remove();
  });

  it('refuses an archive that has changed', async () => {
    const path = join(world.folder, 'linux.tar.gz');
    writeFileSync(path, gzipSync('a source'));
    const { sha256, size } = await storeTarball(world.host, path);
    appendFileSync(path, 'more');
    const other = makeWorld();
    const source = { kind: 'tarball', path: 'linux.tar.gz', sha256, size } as const;
    const report = await failureOf(fetchSource(other.host, inputsWith(source, []), locate, quick));
    expect(report).toMatchObject({ code: 'source/local-changed', exit: 4 });
    expect(report.message).toBe('the file `linux.tar.gz` is no longer what was pinned');
    other.remove();
  });

  it('refuses a tree that has changed', async () => {
    mkdirSync(join(world.folder, 'tree'));
    writeFileSync(join(world.folder, 'tree', 'Makefile'), 'VERSION = 6\n');
    const { sha256, size } = await storeTree(world.host, join(world.folder, 'tree'));
    writeFileSync(join(world.folder, 'tree', 'Makefile'), 'VERSION = 7\n');
    const other = makeWorld();
    const source = { kind: 'tree', path: 'tree', sha256, size } as const;
    const report = await failureOf(fetchSource(other.host, inputsWith(source, []), locate, quick));
    expect(report).toMatchObject({ code: 'source/local-changed', exit: 4 });
    other.remove();
  });

  it.each<[SourcePin['kind'] & ('tarball' | 'tree'), string]>([
    ['tarball', 'there is no'],
    ['tree', 'there is no'],
  ])('says that the %s is not there', async (kind, message) => {
    const source = { kind, path: 'nowhere', sha256: '0'.repeat(64), size: 1 };
    const report = await failureOf(fetchSource(world.host, inputsWith(source, []), locate, quick));
    expect(report).toMatchObject({ code: 'source/local-file', exit: 2 });
    expect(report.message).toContain(message);
  });

  it('notices that it was edited although the store has it, and does without it when it is gone', async () => {
    mkdirSync(join(world.folder, 'linux'));
    writeFileSync(join(world.folder, 'linux', 'Makefile'), 'VERSION = 6');
    const { sha256, size } = await storeTree(world.host, join(world.folder, 'linux'), { epoch: 1 });
    const inputs = inputsWith({ kind: 'tree', path: 'linux', sha256, size }, []);
    await assertLocalSource(world.host, inputs, locate, { epoch: 1 });
    const gone: Locate = () => Promise.reject(new Error('gone'));
    await assertLocalSource(world.host, inputs, gone, { epoch: 1 });
    appendFileSync(join(world.folder, 'linux', 'Makefile'), '\n');
    const report = await failureOf(assertLocalSource(world.host, inputs, locate, { epoch: 1 }));
    expect(report.code).toBe('source/local-changed');
  });
});
