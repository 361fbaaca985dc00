import { mkdtempSync, readdirSync, rmSync, utimesSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { store } from '../../src/commands/store.ts';
import type { Host } from '../../src/host/host.ts';
import { noProgress } from '../../src/host/progress.ts';
import { asideName } from '../../src/host/store-aside.ts';
import { Store } from '../../src/host/store.ts';

let folder: string;
let host: Host;
beforeEach(async () => {
  folder = mkdtempSync('/tmp/quern-store-');
  host = {
    cwd: folder,
    env: {},
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: noProgress,
    store: new Store(folder),
  };
  const { path } = await host.store.add([Buffer.alloc(1500)]);
  const long = new Date(Date.now() - 40 * 24 * 3600 * 1000);
  utimesSync(path, long, long);
  await host.store.add([Buffer.alloc(2500)]);
  await host.store.keepNamed('models', 'tide', 'low');
  writeFileSync(join(folder, asideName().replace(`-${process.pid}-`, `-${2 ** 30}-`)), 'left');
  writeFileSync(join(folder, 'notes.txt'), 'somebody else’s');
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

describe('quern store', () => {
  it('says what there is, and removes nothing', async () => {
    const before = readdirSync(folder);
    const { value, text } = await store({ clean: false, unused: 30 }, host);
    expect(value).toEqual({
      folder,
      inputs: { files: 2, bytes: 4000 },
      packs: { files: 0, bytes: 0 },
      models: { files: 1, bytes: 3 },
      compiled: { files: 0, bytes: 0 },
      fetched: { files: 0, bytes: 0 },
      leftovers: { files: 1, bytes: 4 },
      removed: { files: 0, bytes: 0 },
    });
    expect(text).toBe(`the store ${folder} has 4.0 kB
  inputs      4.0 kB in 2 files
  models         3 B in 1 file
  leftovers      4 B in 1 file`);
    expect(readdirSync(folder)).toEqual(before);
  });

  it('removes what was not used for long, and what killed processes have left', async () => {
    const { value, text } = await store({ clean: true, unused: 30 }, host);
    expect(value).toMatchObject({
      inputs: { files: 1, bytes: 2500 },
      leftovers: { files: 0 },
      removed: { files: 2, bytes: 1504 },
    });
    expect(text).toContain('removed     1.5 kB in 2 files');
    expect(readdirSync(folder).filter((name) => name.startsWith('.'))).toEqual([]);
  });

  it('removes everything, but nothing of somebody else', async () => {
    await store({ clean: true, unused: 0 }, host);
    expect(readdirSync(folder).sort()).toEqual(['models', 'notes.txt']);
    expect(readdirSync(join(folder, 'models'))).toEqual([]);
    expect((await store({ clean: false, unused: 30 }, host)).text).toBe(`the store ${folder} has 0 B`);
  });

  it('is content with a store that is not there yet', async () => {
    const away = { ...host, store: new Store(join(folder, 'none')) };
    expect((await store({ clean: true, unused: 0 }, away)).value.removed).toEqual({ files: 0, bytes: 0 });
  });
});
