import { execFileSync, spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { filesOfArchive } from '../../src/source/read-pack.ts';
import { foldedCase } from '../../src/source/folded-case.ts';
import { gzipBomb } from './hostile-archives.ts';
import { judgeArchives } from './judge-archives.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-hostile-');
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

it('reads or refuses each of a thousand archives, in words and in time', async () => {
  const read = await judgeArchives(folder, 1_000);
  expect(read).toBeGreaterThan(20);
  expect(read).toBeLessThan(980);
});

it('reads what unpacks to half a gigabyte without keeping it', async () => {
  const file = join(folder, 'bomb');
  writeFileSync(file, gzipBomb(2 ** 29));
  const before = process.memoryUsage().rss;
  const read = filesOfArchive(file, () => false, new AbortController().signal, 'bomb');
  await read.catch((error: unknown) => {
    if (!(error instanceof Failure)) throw error;
  });
  expect(process.memoryUsage().rss - before).toBeLessThan(200 << 20);
});

// referee: ext4 with its own folding of case, on a loop device, which takes root
it.runIf(process.getuid?.() === 0)('a tree on an ext4 folder that folds case is told of', async (context) => {
  const image = join(folder, 'disk');
  const mount = join(folder, 'mnt');
  mkdirSync(mount);
  execFileSync('truncate', ['-s', '32M', image]);
  execFileSync('mkfs.ext4', ['-q', '-O', 'casefold', image]);
  // a kernel without CONFIG_UNICODE does not mount it
  if (spawnSync('mount', ['-o', 'loop', image, mount]).status !== 0) context.skip();
  try {
    mkdirSync(join(mount, 'linux'));
    execFileSync('chattr', ['+F', join(mount, 'linux')]);
    writeFileSync(join(mount, 'linux/Makefile'), '');
    expect(await foldedCase(join(mount, 'linux'))).toMatchObject([{ code: 'source/case-folded' }]);
  } finally {
    spawnSync('umount', [mount]);
  }
});
