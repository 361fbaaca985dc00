import { mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { openSpec, type OpenSpec } from '../../src/commands/open-spec.ts';
import { assertPinned } from '../../src/commands/pinned-files.ts';
import { resolveInside } from '../../src/commands/resolve-inside.ts';
import { locateFor, lockPath, readSpecFiles } from '../../src/commands/spec-files.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { toJson } from '../../src/diagnostics/to-json.ts';
import { makeWorld, type World } from '../container/world.ts';
import { inputs, sha256 } from '../kit/fixture.ts';

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

/** A spec in `spec/` with these parts, as it is read from the folder above. */
async function open(...parts: readonly string[]): Promise<OpenSpec> {
  const text = [
    'quern: 1',
    'name: gauge-station',
    "kernel: { version: '6.1', source: { tree: linux } }",
    'arch: x86_64',
    'environment: { debian: bookworm }',
    ...parts,
  ];
  writeFileSync(join(home, 'gauge.yaml'), text.join('\n'));
  return openSpec(world.host, 'spec/gauge.yaml');
}

/** Where and what, of all that `work` fails with. */
async function placed(work: Promise<unknown>): Promise<string[]> {
  const error: unknown = await work.catch((caught: unknown) => caught);
  if (!(error instanceof Failure)) throw new Error(`no Failure: ${String(error)}`);
  return toJson(error.diagnostics, error.sources).map(({ file, line, code }) => `${file}:${line} ${code}`);
}

describe('readSpecFiles', () => {
  it('reads what the spec names, with digests', async () => {
    writeFileSync(join(home, 'patches', '0001-gauge-banner.patch'), 'diff');
    writeFileSync(join(home, 'a.config'), 'CONFIG_A=y\n');
    const opened = await open(
      'config: { base: tinyconfig, fragments: [a.config] }',
      'patches: [patches/0001-gauge-banner.patch]',
    );
    expect(await readSpecFiles(world.host, opened)).toMatchObject({
      fragments: [{ path: 'a.config', sha256: sha256('CONFIG_A=y\n') }],
      patches: [{ path: 'patches/0001-gauge-banner.patch', sha256: sha256('diff') }],
    });
  });

  it('tells of everything that is wrong at once, on the lines that name it', async () => {
    symlinkSync(join(world.folder, 'outside', 'secret'), join(home, 'link.config'));
    mkdirSync(join(home, 'folder.config'));
    const opened = await open(
      'config:',
      '  base: none/base.config',
      '  fragments:',
      '    - link.config',
      '    - folder.config',
      'patches: [none.patch]',
    );
    expect((await placed(readSpecFiles(world.host, opened))).sort()).toEqual([
      'spec/gauge.yaml:10 command/file-unsuitable',
      'spec/gauge.yaml:11 command/file-missing',
      'spec/gauge.yaml:7 command/file-missing',
      'spec/gauge.yaml:9 command/file-outside',
    ]);
  });
});

describe('what the spec names and is not right', () => {
  it('is told on its line when it is the source', async () => {
    const opened = await open('config: { base: tinyconfig }');
    expect(await placed(locateFor(world.host, opened)('linux', 'folder'))).toEqual([
      'spec/gauge.yaml:3 command/file-missing',
    ]);
  });

  it('is told on its line when it is no longer what was pinned', async () => {
    writeFileSync(join(home, 'a.config'), 'CONFIG_A=y\n');
    const opened = await open('config:', '  base: tinyconfig', '  fragments:', '    - a.config');
    const files = await readSpecFiles(world.host, opened);
    const pinned = { ...inputs, patches: [], fragments: [{ path: 'a.config', sha256: sha256('') }] };
    const work = (async () => assertPinned(files, pinned, opened.sources))();
    expect(await placed(work)).toEqual(['spec/gauge.yaml:9 command/file-changed']);
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
