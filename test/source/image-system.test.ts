/** What is in the layers of an image, put together as the OCI image specification says (layer.md, Whiteouts). */
import { createHash } from 'node:crypto';
import { spawnSync } from 'node:child_process';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import { canRead } from '../../src/source/decompress.ts';
import { readImageFiles } from '../../src/source/image-layers.ts';
import { readImageSystem } from '../../src/source/image-system.ts';
import type { LayerPin, RegistryImage } from '../../src/spec/lock.ts';
import { makeWorld, type World } from '../container/world.ts';
import { otterSystem, tarOf, type Layer } from './otter-image.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

async function imageOf(
  layers: readonly (Layer | Buffer)[],
  change: Partial<LayerPin> = {},
): Promise<RegistryImage> {
  const pins: LayerPin[] = [];
  const { compression = 'gzip' } = change;
  for (const layer of layers) {
    const tar = Buffer.isBuffer(layer) ? layer : await tarOf(layer);
    const bytes =
      compression === 'none'
        ? tar
        : compression === 'gzip'
          ? gzipSync(tar)
          : spawnSync('zstd', ['-q', '-c'], { input: tar }).stdout;
    const { sha256, size } = await world.host.store.add([bytes]);
    const unpacked = createHash('sha256').update(tar).digest('hex');
    pins.push({ sha256, size, compression, unpacked, ...change });
  }
  const place = { registry: 'pier.otter-bank.example', repository: 'base', manifest: '0'.repeat(64) };
  return { ...place, architecture: 'amd64', layers: pins };
}

/** What is at `a/b` in the end; nothing when it is not there. */
async function at(layers: readonly Layer[]): Promise<string | undefined> {
  const files = await readImageFiles(world.host, await imageOf(layers), ['a/b']);
  const content = files.get('a/b');
  return content && Buffer.from(content).toString();
}

async function faultOf(work: Promise<unknown>): Promise<Diagnostic> {
  const error = await work.then(
    () => undefined,
    (reason: unknown) => reason,
  );
  const [first] = error instanceof Failure ? error.diagnostics : [];
  if (!first) throw new Error('it was to fail', { cause: error });
  return first;
}

describe('a file', () => {
  it.each<[string, readonly Layer[], string | undefined]>([
    ['of one layer', [{ 'a/b': '1' }], '1'],
    ['of a name with a dot in front', [{ './a/b': '1' }], '1'],
    ['of two, the upper one counts', [{ 'a/b': '1' }, { 'a/b': '2' }], '2'],
    ['that another layer leaves alone', [{ 'a/b': '1' }, { 'a/': '', 'a/c': '2' }], '1'],
    ['taken away', [{ 'a/b': '1' }, { 'a/.wh.b': '' }], undefined],
    ['taken away and made again', [{ 'a/b': '1' }, { 'a/.wh.b': '' }, { 'a/b': '3' }], '3'],
    ['made in the layer that takes the lower one away', [{ 'a/b': '1' }, { 'a/b': '2', 'a/.wh.b': '' }], '2'],
    ['whose folder is taken away', [{ 'a/b': '1' }, { '.wh.a': '' }], undefined],
    ['whose folder is emptied', [{ 'a/b': '1' }, { 'a/.wh..wh..opq': '' }], undefined],
    ['whose folder is emptied and filled', [{ 'a/b': '1' }, { 'a/b': '2', 'a/.wh..wh..opq': '' }], '2'],
    ['when all is emptied', [{ 'a/b': '1' }, { '.wh..wh..opq': '' }], undefined],
    ['whose folder becomes a file', [{ 'a/b': '1' }, { a: 'x' }], undefined],
    ['that becomes a link', [{ 'a/b': '1' }, { 'a/b': { link: 'c' } }], undefined],
    ['beside which another is taken away', [{ 'a/b': '1' }, { 'a/.wh.c': '', 'x/.wh..wh..opq': '' }], '1'],
  ])('%s', async (_, layers, expected) => {
    expect(await at(layers)).toBe(expected);
  });

  it.each((['none', 'gzip', 'zstd'] as const).filter(canRead))(
    'in a layer packed with %s',
    async (compression) => {
      const image = await imageOf([{ 'a/b': '1' }], { compression });
      expect((await readImageFiles(world.host, image, ['a/b'])).size).toBe(1);
    },
  );

  it.skipIf(canRead('zstd'))('in a layer that this Node cannot read', async () => {
    const image = await imageOf([{ 'a/b': '1' }], { compression: 'zstd' });
    expect(await faultOf(readImageFiles(world.host, image, ['a/b']))).toMatchObject({
      code: 'registry/unread-layer',
      exit: 3,
      help: expect.stringContaining('Node 22.15') as unknown,
    });
  });

  it('in a layer with more behind its end, all of which counts', async () => {
    const tar = Buffer.concat([await tarOf({ 'a/b': '1' }), Buffer.alloc(1 << 20)]);
    expect((await readImageFiles(world.host, await imageOf([tar]), ['a/b'])).size).toBe(1);
  });
});

describe('a layer that is not what it should be', () => {
  it.each<[string, Buffer, Partial<LayerPin>, string]>([
    ['another than the image says', Buffer.alloc(1024), { unpacked: '0'.repeat(64) }, 'something else'],
    ['no tar', Buffer.from('x'.repeat(2048)), {}, 'cannot be unpacked'],
    ['cut off', Buffer.alloc(0), { compression: 'gzip' }, 'cannot be unpacked'],
  ])('%s', async (name, tar, change, why) => {
    const image = await imageOf(
      [name === 'cut off' ? (await tarOf({ 'a/b': 'x'.repeat(5000) })).subarray(0, 2000) : tar],
      change,
    );
    const report = await faultOf(readImageFiles(world.host, image, ['a/b']));
    expect(report).toMatchObject({ code: 'registry/bad-answer', exit: 4 });
    expect(report.message).toContain(why);
  });
});

describe('the system in an image', () => {
  it('is what its dpkg says', async () => {
    const image = await imageOf([otterSystem, { 'etc/gauge': '1' }]);
    const records = await readImageSystem(world.host, image, 'bookworm');
    expect(records.map(({ package: name, version }) => `${name} ${version}`)).toEqual([
      'dpkg 1.21.22',
      'libc6 2.36-9',
    ]);
  });

  const status = 'var/lib/dpkg/status';
  const osRelease = 'usr/lib/os-release';
  it.each<[string, Layer, string]>([
    ['without dpkg', { [`${status}`]: '' }, 'no database of dpkg'],
    ['whose database was taken away', { 'var/lib/.wh.dpkg': '' }, 'no database of dpkg'],
    ['of another release', { [osRelease]: 'ID=debian\nVERSION_CODENAME=trixie\n' }, 'it is `debian trixie`'],
    [
      'of another house',
      { [osRelease]: 'ID="otter"\nVERSION_CODENAME=bookworm\n' },
      'it is `otter bookworm`',
    ],
    ['that does not say what it is', { 'usr/lib/.wh.os-release': '' }, 'does not say which system'],
    [
      'half installed',
      { [status]: 'Package: dpkg\nStatus: install ok half-configured\nArchitecture: amd64\nVersion: 1\n' },
      'not in order',
    ],
    [
      'of which dpkg is no part',
      { [status]: 'Package: sh\nStatus: install ok installed\nArchitecture: amd64\nVersion: 1\n' },
      'it has no dpkg',
    ],
  ])('%s is refused', async (_, change, why) => {
    const report = await faultOf(
      readImageSystem(world.host, await imageOf([otterSystem, change]), 'bookworm'),
    );
    expect(report).toMatchObject({ code: 'registry/unfit', exit: 2 });
    expect(report.message).toContain(why);
  });
});
