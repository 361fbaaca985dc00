import { mkdirSync, mkdtempSync, readdirSync, rmSync, utimesSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { asideName, isLeftover } from '../../src/host/store-aside.ts';
import { Store } from '../../src/host/store.ts';
import { killWriters } from './store-killed.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-killed-');
});
afterEach(() => rmSync(folder, { recursive: true }));

it('processes that are killed leave nothing behind and nothing half', { timeout: 120_000 }, async () => {
  await killWriters(folder, [0, 3, 20, 45, 70, 110]);
  expect.hasAssertions();
});

it('a file that somebody may still be writing stays', async () => {
  const gone = 2 ** 30;
  const now = Date.now();
  const mine = asideName();
  const ofDead = mine.replace(`-${process.pid}-`, `-${gone}-`);
  // where a number of a process says nothing here
  const elsewhere = ofDead.replace(/[0-9a-f]{12}/u, '0123456789ab');
  expect([mine, ofDead, elsewhere].map((name) => isLeftover(name, now, now))).toEqual([false, true, false]);
  expect(isLeftover(elsewhere, now - 25 * 3600 * 1000, now)).toBe(true);
  for (const name of [mine, ofDead, elsewhere]) writeFileSync(join(folder, name), 'otter');
  await new Store(folder).add([Buffer.from('gauge')]);
  expect(
    readdirSync(folder)
      .filter((name) => name.startsWith('.'))
      .sort(),
  ).toEqual([mine, elsewhere].sort());
});

it('what is used says so, on whatever disk', async () => {
  const old = new Date('2026-01-01T00:00:00Z');
  const { path, sha256 } = await new Store(folder).add([Buffer.from('gauge')]);
  await new Store(folder).keepNamed('packs', 'tide', 'low');
  mkdirSync(join(folder, 'strange'));
  writeFileSync(join(folder, 'notes.txt'), 'not of the store');
  for (const file of [path, join(folder, 'packs/tide')]) utimesSync(file, old, old);
  const used = async (): Promise<readonly (readonly [string, number])[]> =>
    (await new Store(folder).entries()).map(({ kind, used: at }) => [kind, at]);
  expect(await used()).toEqual([
    ['inputs', old.getTime()],
    ['packs', old.getTime()],
  ]);
  const store = new Store(folder);
  expect(await store.has(sha256)).toBe(true);
  expect((await store.readNamed('packs', 'tide'))?.toString()).toBe('low');
  for (const [, at] of await used()) expect(at).toBeGreaterThan(Date.now() - 60_000);
});
