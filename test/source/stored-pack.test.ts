import { execFileSync } from 'node:child_process';
import {
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  truncateSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { Store } from '../../src/host/store.ts';
import { encodePack } from '../../src/kconfig/pack.ts';
import type { PackSource } from '../../src/source/held-source.ts';
import { keptPack, storedPack } from '../../src/source/stored-pack.ts';
import { kernelOnDisk, packOfTree, treeOnDisk } from '../../src/source/tree-on-disk.ts';
import { storeTree } from '../../src/source/tree-archive.ts';
import { makeWorld, type World } from '../container/world.ts';
import { archiveKernel, keep, keptOfSmallKernel, layKernel, smallKernel } from './kernel-source.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

const tree = (files = smallKernel): string => layKernel(join(world.folder, 'tree'), files);

async function source(form: string): Promise<PackSource> {
  const sha256 = await keep(world.host.store, archiveKernel(world.folder, tree(), form));
  return { sha256, debianPackage: form === 'deb' ? 'linux-source-6.1' : undefined };
}

const codes = async (work: Promise<unknown>): Promise<readonly string[]> => {
  const error: unknown = await work.catch((reason: unknown) => reason);
  if (!(error instanceof Failure)) throw new Error(`no failure: ${String(error)}`);
  return error.diagnostics.map(({ code }) => code);
};

/** Another process that finds the same store. */
const nextProcess = (): World['host'] => ({ ...world.host, store: new Store(world.host.store.folder) });

describe('storedPack', () => {
  it.each(['tar', 'xz', 'gz', 'deb'])('reads what matters out of a source packed as %s', async (form) => {
    const origin = await source(form);
    const { pack } = await storedPack(world.host, origin);
    expect([...pack.files.keys()]).toEqual(keptOfSmallKernel);
    for (const path of keptOfSmallKernel) {
      const real = path === 'arch/x86/Kconfig' ? 'arch/x86/Kconfig.real' : path;
      expect(pack.read(path)).toBe(smallKernel[real]);
      expect(pack.files.get(path)?.executable).toBe(smallKernel[real]?.startsWith('#!'));
    }
    expect(pack.source).toBe(origin.sha256);
    // nothing is left of what was unpacked on the way
    expect(readdirSync(world.host.store.folder).filter((name) => name.startsWith('.'))).toEqual([]);
  });

  it('gives the same pack for a tree, and for the archive that the tree is stored as', async () => {
    const folder = tree();
    rmSync(join(folder, '.git'), { recursive: true });
    const { sha256 } = await storeTree(world.host, folder, { epoch: 0 });
    const { pack } = await storedPack(world.host, { sha256 });
    const direct = await packOfTree(world.host, folder);
    expect(new Map(direct.files)).toEqual(new Map(pack.files));
    for (const path of keptOfSmallKernel) expect(treeOnDisk(folder).read(path)).toBe(pack.read(path));
  });

  it('reads a source once', async () => {
    const origin = await source('xz');
    const first = await storedPack(world.host, origin);
    rmSync(world.host.store.path(origin.sha256));
    const again = await storedPack(nextProcess(), origin);
    expect(again.sha256).toBe(first.sha256);
    expect(encodePack(again.pack)).toEqual(encodePack(first.pack));
  });

  it.each<[string, (packs: string, pack: string) => void]>([
    ['the pack is altered', (_, pack) => writeFileSync(pack, 'quern-kconfig-pack 1\n')],
    ['the pack is cut off', (_, pack) => truncateSync(pack, 100)],
    ['the pack is gone', (_, pack) => rmSync(pack)],
    [
      'the note is altered',
      (packs) => writeFileSync(join(packs, readdirSync(packs)[0] ?? ''), '../../etc/passwd\n'),
    ],
    ['the note is gone', (packs) => rmSync(packs, { recursive: true })],
  ])('reads it again when %s', async (_, damage) => {
    const origin = await source('xz');
    const first = await storedPack(world.host, origin);
    const { store } = world.host;
    damage(join(store.folder, 'packs'), store.path(first.sha256));
    const host = nextProcess();
    expect(await keptPack(host, origin)).toBeUndefined();
    expect((await storedPack(host, origin)).sha256).toBe(first.sha256);
  });

  it('takes no pack of another source', async () => {
    const origin = await source('xz');
    const other = {
      ...origin,
      sha256: await keep(world.host.store, archiveKernel(world.folder, join(world.folder, 'tree'), 'gz')),
    };
    const { sha256 } = await storedPack(world.host, origin);
    const packs = join(world.host.store.folder, 'packs');
    writeFileSync(join(packs, `${other.sha256}.1`), `${sha256}\n`);
    expect(await keptPack(nextProcess(), other)).toBeUndefined();
    expect((await storedPack(nextProcess(), other)).pack.source).toBe(other.sha256);
  });

  it('stops when the pack is not the one that was pinned', async () => {
    const origin = await source('xz');
    const { sha256 } = await storedPack(world.host, origin);
    expect((await storedPack(nextProcess(), origin, sha256)).sha256).toBe(sha256);
    expect(await codes(storedPack(nextProcess(), origin, 'f'.repeat(64)))).toEqual(['source/pack-differs']);
  });

  it.each<[string, readonly string[], () => Promise<PackSource>]>([
    ['no archive', ['source/not-an-archive'], async () => ({ sha256: await stored('otters\n') })],
    [
      'a package without the tarball',
      ['source/not-an-archive'],
      async () => ({ ...(await source('deb')), debianPackage: 'linux-source-6.6' }),
    ],
    [
      'a tarball where a package should be',
      ['source/not-an-archive'],
      async () => ({ ...(await source('xz')), debianPackage: 'linux-source-6.1' }),
    ],
    ['a way of compressing that Node lacks', ['source/unread-compression'], () => source('bz2')],
  ])('says what is wrong with %s', async (_, expected, make) => {
    expect(await codes(storedPack(world.host, await make()))).toEqual(expected);
  });

  async function stored(text: string): Promise<string> {
    return (await world.host.store.add([Buffer.from(text)])).sha256;
  }

  it.each(['xz', 'gz', 'deb'])('says that a source packed as %s is cut off', async (form) => {
    const path = archiveKernel(world.folder, tree(), form);
    const content = readFileSync(path);
    writeFileSync(path, content.subarray(0, content.length * 0.6));
    const sha256 = await keep(world.host.store, path);
    const origin = { sha256, debianPackage: form === 'deb' ? 'linux-source-6.1' : undefined };
    expect(await codes(storedPack(world.host, origin))).toEqual(['source/not-an-archive']);
  });

  it('reads no source that the store does not have as it was pinned', async () => {
    const origin = await source('xz');
    writeFileSync(world.host.store.path(origin.sha256), 'otters\n');
    await expect(storedPack(nextProcess(), origin)).rejects.toThrow('does not have the source');
  });

  it('says that something is no kernel', async () => {
    const folder = layKernel(join(world.folder, 'no-kernel'), { Makefile: 'all:\n', 'src/Kconfig': '' });
    const sha256 = await keep(world.host.store, archiveKernel(world.folder, folder, 'xz'));
    expect(await codes(storedPack(world.host, { sha256 }))).toEqual(['source/not-a-kernel']);
    expect(await codes(packOfTree(world.host, folder))).toEqual(['source/not-a-kernel']);
    expect(await codes(packOfTree(world.host, join(world.folder, 'nowhere')))).toEqual(['source/local-file']);
  });

  it('stops at a file that is larger than any Kconfig file', async () => {
    const folder = tree();
    mkdirSync(join(folder, 'fs'));
    execFileSync('truncate', ['-s', '20M', join(folder, 'fs/Kconfig')]);
    const sha256 = await keep(world.host.store, archiveKernel(world.folder, folder, 'xz'));
    expect(await codes(storedPack(world.host, { sha256 }))).toEqual(['source/too-large']);
  });

  it('leaves nothing when it is interrupted', async () => {
    const origin = await source('deb');
    world.interrupt(new Error('Ctrl-C'));
    await expect(storedPack(world.host, origin)).rejects.toThrow('Ctrl-C');
    expect(readdirSync(world.host.store.folder)).toEqual([origin.sha256]);
  });
});

describe('treeOnDisk', () => {
  it('reads nothing outside of the tree by its path', () => {
    const files = treeOnDisk(tree());
    writeFileSync(join(world.folder, 'secret'), 'x');
    expect(existsSync(join(world.folder, 'tree', '../secret'))).toBe(true);
    for (const path of ['../secret', join(world.folder, 'secret'), 'scripts/../../secret', '']) {
      expect(files.read(path)).toBeUndefined();
    }
    expect(files.list('arch/x86').toSorted()).toEqual(['Kconfig', 'Kconfig.real', 'configs']);
    expect(files.list('..')).toEqual([]);
    expect(files.list('nowhere')).toEqual([]);
  });

  it('does not take what an earlier build has left for source', () => {
    const folder = tree();
    mkdirSync(join(folder, 'include/config'), { recursive: true });
    const left = ['.config', 'include/config/auto.conf'];
    for (const path of left) writeFileSync(join(folder, path), 'CONFIG_WEIR=y\n');
    for (const path of left) expect(treeOnDisk(folder).read(path)).toBeUndefined();
  });

  it('finds the Kconfig files, and reads files longer than any of a kernel', () => {
    const folder = tree();
    mkdirSync(join(folder, 'tools/weir'));
    writeFileSync(join(folder, 'tools/weir/Kconfig'), '');
    const long = 'config WEIR\xe4\n'.repeat(100_000);
    writeFileSync(join(folder, 'arch/x86/Kconfig.long'), long, 'latin1');
    const files = treeOnDisk(folder);
    expect(files.read('arch/x86/Kconfig.long')).toBe(long);
    expect([...files.paths()]).toEqual(
      expect.arrayContaining(['Kconfig', 'arch/x86/Kconfig', 'arch/x86/Kconfig.long']),
    );
    expect([...files.paths()].filter((path) => path.startsWith('tools/'))).toEqual([]);
  });
});

describe('kernelOnDisk', () => {
  it('refuses a folder without a kernel, and one that is not there', async () => {
    const folder = tree();
    expect(kernelOnDisk(folder).read('Makefile')).toBe(treeOnDisk(folder).read('Makefile'));
    const reading = async (named: string): Promise<unknown> => kernelOnDisk(named);
    await expect(codes(reading(world.folder))).resolves.toEqual(['source/not-a-kernel']);
    await expect(codes(reading(join(world.folder, 'nowhere')))).resolves.toEqual(['source/local-file']);
  });
});
