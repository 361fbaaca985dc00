import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { archiveFormat, storeTarball } from '../../src/source/local-tarball.ts';
import { makeWorld, type World } from '../container/world.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

/** Written by GNU tar and the compression programs themselves. */
function archive(option: string): string {
  const tree = join(world.folder, 'linux');
  mkdirSync(tree, { recursive: true });
  writeFileSync(join(tree, 'Makefile'), 'VERSION = 6\n');
  const path = join(world.folder, 'source.tar');
  execFileSync(
    'tar',
    ['-C', world.folder, `--${option}`, '-cf', path, 'linux'].filter((word) => word !== '--plain'),
  );
  return path;
}

const programs: Readonly<Record<string, string>> = {
  xz: 'xz',
  gzip: 'gzip',
  bzip2: 'bzip2',
  zstd: 'zstd',
  plain: 'tar',
};

describe('storeTarball', () => {
  it.for([
    ['xz', 'tar.xz'],
    ['gzip', 'tar.gz'],
    ['bzip2', 'tar.bz2'],
    ['zstd', 'tar.zst'],
    ['plain', 'tar'],
  ] as const)('knows %s by its first bytes, not by its name', async ([option, format], context) => {
    const missing = spawnSync(programs[option] ?? '', ['--version']).error !== undefined;
    if (missing && !process.env['CI']) context.skip(`needs the program ${option}`);
    const path = archive(option);
    const content = readFileSync(path);
    const sha256 = createHash('sha256').update(content).digest('hex');
    const stored = await storeTarball(world.host, path);
    expect(stored).toEqual({ sha256, size: content.length, path: world.host.store.path(sha256), format });
    expect(readFileSync(stored.path)).toEqual(content);
  });

  it.each<[string, Uint8Array]>([
    ['an empty file', new Uint8Array(0)],
    ['a text', Buffer.from('the quick otter'.repeat(100))],
    ['a signature', Buffer.from('-----BEGIN PGP SIGNATURE-----\n')],
    ['zeros', new Uint8Array(4096)],
    ['a zip', Buffer.from('PK\u0003\u0004'.repeat(200))],
  ])('refuses %s, and leaves nothing in the store', async (_, content) => {
    const path = join(world.folder, 'linux.tar.xz');
    writeFileSync(path, content);
    const error = await storeTarball(world.host, path).catch((reason: unknown) => reason);
    expect(error instanceof Failure ? error.diagnostics : error).toMatchObject([
      { code: 'source/not-an-archive', exit: 4 },
    ]);
    expect(readdirSync(world.host.store.folder)).toEqual([]);
  });

  it('says that a folder is no file', async () => {
    const error = await storeTarball(world.host, world.folder).catch((reason: unknown) => reason);
    expect(error instanceof Failure ? error.diagnostics : error).toMatchObject([
      { code: 'source/local-file', exit: 2 },
    ]);
  });

  it('stops when it is interrupted', async () => {
    const path = archive('plain');
    world.interrupt(new Error('Ctrl-C'));
    await expect(storeTarball(world.host, path)).rejects.toThrow('Ctrl-C');
    expect(readdirSync(world.host.store.folder)).toEqual([]);
  });
});

describe('archiveFormat', () => {
  it('takes a head of any length', () => {
    expect(archiveFormat(new Uint8Array(0))).toBeUndefined();
    expect(archiveFormat(Uint8Array.of(0x1f, 0x8b, 8))).toBe('tar.gz');
  });
});
