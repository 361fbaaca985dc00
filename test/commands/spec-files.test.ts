import { mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { lockPath, readSpecFiles, resolveInside } from '../../src/commands/spec-files.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { makeWorld, type World } from '../container/world.ts';
import { sha256, spec } from '../kit/fixture.ts';

let world: World;
let home: string;
beforeEach(() => {
  world = makeWorld();
  home = join(world.folder, 'spec');
  mkdirSync(join(home, 'patches'), { recursive: true });
  mkdirSync(join(world.folder, 'outside'));
  writeFileSync(join(world.folder, 'outside', 'secret'), 'secret');
});
afterEach(() => world.remove());

const codes = async (work: Promise<unknown>): Promise<readonly string[]> => {
  const error: unknown = await work.catch((caught: unknown) => caught);
  if (error instanceof Failure) return error.diagnostics.map(({ code }) => code);
  throw new Error(`no Failure: ${String(error)}`);
};

describe('readSpecFiles', () => {
  it('reads what the spec names, with digests', async () => {
    writeFileSync(join(home, 'patches', '0001-gauge-banner.patch'), 'diff');
    writeFileSync(join(home, 'a.config'), 'CONFIG_A=y\n');
    const changed = { ...spec, config: { ...spec.config, fragments: ['a.config'] } };
    expect(await readSpecFiles(world.host, home, changed)).toMatchObject({
      fragments: [{ path: 'a.config', sha256: sha256('CONFIG_A=y\n') }],
      patches: [{ path: 'patches/0001-gauge-banner.patch', sha256: sha256('diff') }],
    });
  });

  it('tells of everything that is wrong at once', async () => {
    symlinkSync(join(world.folder, 'outside', 'secret'), join(home, 'link.config'));
    mkdirSync(join(home, 'folder.config'));
    const config = { ...spec.config, fragments: ['link.config', 'folder.config', 'none.config'] };
    expect([...(await codes(readSpecFiles(world.host, home, { ...spec, config })))].sort()).toEqual([
      'command/file-missing',
      'command/file-missing',
      'command/file-outside',
      'command/file-unsuitable',
    ]);
  });
});

describe('resolveInside', () => {
  it.each(['../outside/secret', '/etc/passwd', 'patches/../../outside/secret', 'folder/secret'])(
    'does not leave the folder of the spec by %s',
    async (path) => {
      symlinkSync(join(world.folder, 'outside'), join(home, 'folder'));
      const found = await codes(resolveInside(world.host, home, path));
      expect(found).toEqual([path === '/etc/passwd' ? 'command/file-missing' : 'command/file-outside']);
    },
  );

  it('goes where the machine allows it', async () => {
    symlinkSync(join(world.folder, 'outside'), join(home, 'folder'));
    const host = {
      ...world.host,
      env: { ...world.host.env, QUERN_ALLOWED_FOLDERS: `/nowhere:${world.folder}/outside` },
    };
    expect(await resolveInside(host, home, 'folder/secret')).toBe(join(world.folder, 'outside', 'secret'));
    // a neighbour whose name begins alike is another folder
    mkdirSync(join(world.folder, 'outside-too'));
    writeFileSync(join(world.folder, 'outside-too', 'secret'), '');
    symlinkSync(join(world.folder, 'outside-too'), join(home, 'neighbour'));
    expect(await codes(resolveInside(host, home, 'neighbour/secret'))).toEqual(['command/file-outside']);
  });

  it('takes links that stay inside, and folders where a folder is meant', async () => {
    mkdirSync(join(home, 'linux'));
    symlinkSync('linux', join(home, 'tree'));
    expect(await resolveInside(world.host, home, 'tree', 'folder')).toBe(join(home, 'linux'));
    expect(await codes(resolveInside(world.host, home, 'tree'))).toEqual(['command/file-unsuitable']);
  });
});

describe('lockPath', () => {
  it.each([
    ['gauge-station.yaml', 'gauge-station.lock.json'],
    ['specs/a.b.yml', 'specs/a.b.lock.json'],
    ['/abs/gauge', '/abs/gauge.lock.json'],
  ])('%s has %s', (path, lock) => {
    expect(lockPath(path)).toBe(lock);
  });
});
