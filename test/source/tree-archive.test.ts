import { execFileSync, spawnSync } from 'node:child_process';
import {
  chmodSync,
  lstatSync,
  mkdirSync,
  readdirSync,
  rmSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { createServer } from 'node:net';
import { dirname, join } from 'node:path';
import { isDeepStrictEqual } from 'node:util';

import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { storeTree } from '../../src/source/tree-archive.ts';
import { makeWorld, type World } from '../container/world.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

const newest = 1_790_000_000;

/** Files by path; what ends in a slash is an empty folder, `-> x` a link, `#!` a program. */
function layTree(name: string, files: Readonly<Record<string, string>>): string {
  const root = join(world.folder, name);
  mkdirSync(root, { recursive: true });
  for (const [path, content] of Object.entries(files)) {
    const full = join(root, path);
    mkdirSync(path.endsWith('/') ? full : dirname(full), { recursive: true });
    if (path.endsWith('/')) continue;
    if (content.startsWith('-> ')) symlinkSync(content.slice(3), full);
    else writeFileSync(full, content, { mode: content.startsWith('#!') ? 0o755 : 0o644 });
  }
  return root;
}

/** Dates everything in the tree, one thing later than the rest. */
function date(root: string): string {
  execFileSync('find', [root, '-exec', 'touch', '-h', '-d', `@${newest - 500}`, '{}', '+']);
  utimesSync(join(root, 'Makefile'), newest, newest + 0.75);
  return root;
}

const linux: Readonly<Record<string, string>> = {
  Makefile: 'VERSION = 6\n',
  'scripts/config': '#!/bin/sh\n',
  'include/asm': '-> ../arch/x86/include',
  'arch/x86/include/a.h': 'int a;\n',
  'arch/x86.txt': 'sorts behind the folder of that name\n',
  'empty/': '',
  'empty-file': '',
  [`long/${'deep/'.repeat(40)}${'name'.repeat(20)}.c`]: 'int deep;\n',
  'ünïcode/ötter 🦦.txt': 'otter\n',
  'big.bin': 'x'.repeat(3 << 20),
};

describe('storeTree', () => {
  it('packs what GNU tar unpacks to the same tree', async () => {
    const root = date(layTree('tree', linux));
    const { path, size } = await storeTree(world.host, root);
    expect(size % 512).toBe(0);
    const out = join(world.folder, 'out');
    mkdirSync(out);
    execFileSync('tar', ['-C', out, '-xf', path]);
    expect(readdirSync(out)).toEqual(['linux']);
    // diffutils: nothing to say when the trees are equal
    expect(
      spawnSync('diff', ['-r', '--no-dereference', root, join(out, 'linux')], { encoding: 'utf8' }).stdout,
    ).toBe('');
    expect(lstatSync(join(out, 'linux/scripts/config')).mode & 0o777).toBe(0o755);
  });

  it('gives all entries one owner, one time and two modes, sorted', async () => {
    const { path } = await storeTree(world.host, date(layTree('tree', linux)));
    const listing = execFileSync('tar', ['--full-time', '--utc', '--numeric-owner', '-tvf', path], {
      encoding: 'utf8',
    });
    const lines = listing.trim().split('\n');
    const found = execFileSync('find', [join(world.folder, 'tree')], { encoding: 'utf8' });
    expect(lines).toHaveLength(found.trim().split('\n').length);
    for (const line of lines) {
      expect(line).toMatch(/^(drwxr-xr-x|-rw-r--r--|-rwxr-xr-x|lrwxrwxrwx) 0\/0 /);
      // GNU date: date -u -d @1790000000
      expect(line).toContain(' 2026-09-21 14:13:20 ');
    }
    const names = execFileSync('tar', ['-tf', path], { encoding: 'utf8' }).trim().split('\n');
    expect(names).toEqual(names.toSorted());
  });

  it('gives the same bytes whatever the place, the order, the umask and the owner', async () => {
    const one = await storeTree(world.host, date(layTree('tree', linux)));
    const backwards = Object.fromEntries(Object.entries(linux).toReversed());
    const other = layTree('somewhere/else', backwards);
    for (const path of ['Makefile', 'big.bin', 'arch/x86/include/a.h']) chmodSync(join(other, path), 0o600);
    chmodSync(join(other, 'scripts/config'), 0o700);
    chmodSync(join(other, 'arch'), 0o700);
    expect(await storeTree(world.host, date(other))).toEqual(one);
  });

  it('leaves out what belongs to git', async () => {
    const one = await storeTree(world.host, date(layTree('tree', linux)));
    const cloned = layTree('clone', {
      ...linux,
      '.git/HEAD': 'ref',
      '.git/objects/aa/bb': 'x',
      'tools/.git': 'gitdir: x',
    });
    rmSync(join(cloned, 'tools/.git'));
    rmSync(join(cloned, 'tools'), { recursive: true });
    expect(await storeTree(world.host, date(cloned))).toEqual(one);
    expect((await storeTree(world.host, date(layTree('tree', { '.gitignore': '*.o\n' })))).sha256).not.toBe(
      one.sha256,
    );
  });

  it('takes the time that it is told instead of the one of the files', async () => {
    const root = date(layTree('tree', linux));
    const one = await storeTree(world.host, root, { epoch: 1_767_225_600 });
    utimesSync(join(root, 'Makefile'), newest + 100, newest + 100);
    expect(await storeTree(world.host, root, { epoch: 1_767_225_600 })).toEqual(one);
    expect(await storeTree(world.host, root)).not.toEqual(one);
  });

  it('follows a link to the tree itself, and none inside it', async () => {
    const root = date(layTree('tree', { ...linux, out: '-> /etc' }));
    symlinkSync(root, join(world.folder, 'link'));
    expect(await storeTree(world.host, join(world.folder, 'link'))).toEqual(
      await storeTree(world.host, root),
    );
  });

  it.each<[string, (path: string) => Promise<() => void> | void]>([
    ['a pipe', (path) => void execFileSync('mkfifo', [path])],
    [
      'a socket',
      (path) =>
        new Promise((resolve) => {
          const server = createServer().listen(path, () => resolve(() => server.close()));
        }),
    ],
  ])('refuses %s, and says where it is', async (_, make) => {
    const root = layTree('tree', { 'a/b': 'x' });
    const undo = await make(join(root, 'a', 's'));
    const error = await storeTree(world.host, root).catch((reason: unknown) => reason);
    expect(error instanceof Failure ? error.diagnostics : error).toMatchObject([
      { code: 'source/special-file', exit: 4 },
    ]);
    expect(String(error)).toContain(join('tree', 'a', 's'));
    undo?.();
  });

  it('refuses a name that is no text', async () => {
    const root = layTree('tree', {});
    writeFileSync(Buffer.concat([Buffer.from(`${root}/`), Buffer.of(0xff, 0xfe)]), 'x');
    const error = await storeTree(world.host, root).catch((reason: unknown) => reason);
    expect(error instanceof Failure ? error.diagnostics : error).toMatchObject([
      { code: 'source/special-file' },
    ]);
  });

  it.each([
    ['a file', 'Makefile'],
    ['nothing', 'nowhere'],
  ])('says that %s is no tree', async (_, name) => {
    const root = layTree('tree', linux);
    const error = await storeTree(world.host, join(root, name)).catch((reason: unknown) => reason);
    expect(error instanceof Failure ? error.diagnostics : error).toMatchObject([
      { code: 'source/local-file', exit: 2 },
    ]);
  });

  it('leaves nothing when it is interrupted', async () => {
    const root = layTree('tree', linux);
    world.interrupt(new Error('Ctrl-C'));
    await expect(storeTree(world.host, root)).rejects.toThrow('Ctrl-C');
  });

  it('depends on every byte, name and mode', async () => {
    const files = fc.dictionary(
      fc.stringMatching(/^[a-z]{1,3}$/),
      fc.constantFrom('', 'x', 'y', '#!x', '-> x'),
      {
        minKeys: 1,
        maxKeys: 4,
      },
    );
    let count = 0;
    await fc.assert(
      fc.asyncProperty(files, files, async (one, other) => {
        count += 1;
        const roots = [layTree(`a${count}`, one), layTree(`b${count}`, other)] as const;
        const [a, b] = await Promise.all(roots.map((root) => storeTree(world.host, root, { epoch: 0 })));
        const same = isDeepStrictEqual({ ...one }, { ...other });
        expect(a?.sha256 === b?.sha256).toBe(same);
      }),
      { numRuns: 40 },
    );
  });
});
