/** Folders with everything that a build takes: made, and built from, where there is neither network nor a store. */
import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { keep } from '../../src/commands/keep.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { fetchPinnedTar } from '../../src/source/remote-tarball.ts';
import type { RemotePin } from '../../src/spec/lock.ts';
import { makePinnedTree, tree, wholeLock, type PinnedTree } from '../cli/pinned-tree.ts';
import { makeWorld, type World } from '../container/world.ts';
import { serveFiles, type FileServer } from '../host/file-server.ts';
import { builtCli } from '../setup/built-cli.ts';
import { layFiles } from './gauge-tree.ts';

const sha256 = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');

/** Referee: GNU coreutils. */
function sumsHold(folder: string): boolean {
  const { status, stdout } = spawnSync('sha256sum', ['-c', '--strict', 'SHA256SUMS'], {
    cwd: folder,
    encoding: 'utf8',
  });
  const listed = stdout.trim().split('\n').length;
  const there = readdirSync(folder, { recursive: true, withFileTypes: true }).filter((one) => one.isFile());
  return status === 0 && listed === there.length - 1;
}

/** Path to content of every file but the inputs. */
function contents(folder: string): Record<string, string> {
  const names = readdirSync(folder, { recursive: true, encoding: 'utf8' });
  const files = names.filter((name) => statSync(join(folder, name)).isFile() && !name.startsWith('inputs/'));
  return Object.fromEntries(files.sort().map((name) => [name, readFileSync(join(folder, name), 'latin1')]));
}

describe('a kept folder of a tree', () => {
  let station: PinnedTree;
  let path: (...parts: string[]) => string;
  const quern = async (words: string, store?: string): Promise<Record<string, unknown>> =>
    JSON.parse(await station.quern(`${words} --json`, store)) as Record<string, unknown>;
  const input = (start: string): string => {
    const name = readdirSync(path('kept/kit/inputs')).find((one) => one.startsWith(start));
    return path('kept/kit/inputs', name ?? 'none');
  };
  beforeEach(async () => {
    station = await makePinnedTree();
    path = (...parts) => join(station.folder, ...parts);
    const { exit } = await quern('keep gauge.yaml -o kept');
    if (exit !== 0) throw new Error('nothing is kept');
  });
  afterEach(() => station.remove());

  it('has all that the lock names, and says so in the words of sha256sum', async () => {
    expect(sumsHold(path('kept'))).toBe(true);
    expect(readdirSync(path('kept')).sort()).toEqual(
      [
        'README.md',
        'SHA256SUMS',
        'gauge.config',
        'gauge.lock.json',
        'gauge.yaml',
        'kconfig.pack',
        'kit',
      ].sort(),
    );
    const lock = JSON.parse(readFileSync(path('gauge.lock.json'), 'utf8')) as {
      inputs: { source: { sha256: string }; packages: { sha256: string }[] };
    };
    const kept = new Set(
      readdirSync(path('kept/kit/inputs')).map((name) => sha256(readFileSync(path('kept/kit/inputs', name)))),
    );
    expect(kept).toEqual(
      new Set([lock.inputs.source.sha256, ...lock.inputs.packages.map((one) => one.sha256)]),
    );
    for (const name of readdirSync(path('kept/kit/inputs')))
      expect(statSync(path('kept/kit/inputs', name)).nlink).toBe(1);
    expect(readFileSync(path('kept/README.md'), 'utf8')).toContain('quern build gauge.yaml -o DIR');
  });

  it('gives the same kit to the built command line in a namespace without network, the tree gone', async () => {
    expect(await quern('kit gauge.yaml -o kit')).toMatchObject({ exit: 0 });
    mkdirSync(path('usb'));
    renameSync(path('kept'), path('usb/kept'));
    rmSync(path('linux'), { recursive: true });
    const before = contents(path('usb/kept'));
    const run = (...words: string[]): ReturnType<typeof spawnSync> =>
      spawnSync('unshare', ['-rn', process.execPath, builtCli(), ...words], {
        cwd: path('usb'),
        env: { PATH: process.env['PATH'], QUERN_STORE: path('fresh'), NO_COLOR: '1' },
        encoding: 'utf8',
      });
    const checked = run('check', 'kept/gauge.yaml', '--json');
    expect(JSON.parse(String(checked.stdout))).toMatchObject({ exit: 0, pinned: true, assumed: false });
    expect(run('kit', 'kept/gauge.yaml', '-o', 'kit')).toMatchObject({ status: 0 });
    expect(contents(path('usb/kit'))).toEqual(contents(path('kit')));
    expect(contents(path('usb/kept/kit'))).toEqual(contents(path('kit')));
    // it only reads there
    expect(contents(path('usb/kept'))).toEqual(before);
    // the kit's own script finds all of its inputs as well
    const fetched = spawnSync('unshare', ['-rn', 'sh', path('usb/kept/kit/run.sh'), 'fetch'], {
      encoding: 'utf8',
    });
    expect(fetched).toMatchObject({ status: 0, stderr: '' });
  });

  it('is brought up to date without copying anything twice', async () => {
    const bytes = Object.values(contents(path('kept/kit'))).length;
    expect(bytes).toBeGreaterThan(5);
    expect(await quern('keep gauge.yaml -o kept')).toMatchObject({ exit: 0, copied: 0 });
    const damaged = input('gcc_');
    writeFileSync(damaged, 'altered');
    expect(await quern('keep gauge.yaml -o kept')).toMatchObject({ exit: 0, copied: 3 });
    expect(readFileSync(damaged, 'utf8')).toBe('gcc');
    expect(sumsHold(path('kept'))).toBe(true);
  });

  it('can be kept from itself, in another place and in its own', async () => {
    expect(await quern('keep kept/gauge.yaml -o other', path('fresh'))).toMatchObject({ exit: 0 });
    expect(contents(path('other'))).toEqual(contents(path('kept')));
    expect(await quern('keep kept/gauge.yaml -o kept', path('fresh'))).toMatchObject({ exit: 0, copied: 0 });
    expect(contents(path('other'))).toEqual(contents(path('kept')));
  });

  it.each([
    ['an input', () => input('gcc_')],
    ['the source', () => input('source-')],
    ['the pack', () => path('kept/kconfig.pack')],
    ['a fragment', () => path('kept/gauge.config')],
  ])('with %s that was altered is refused, whatever the store has', async (_, file) => {
    const name = file();
    writeFileSync(name, '# CONFIG_PIER is not set\n');
    // `keep` reads everything, as `build` does
    const { exit, diagnostics } = await quern('keep kept/gauge.yaml -o other');
    expect(exit).toBe(4);
    expect(JSON.stringify(diagnostics)).toContain(name.slice(name.lastIndexOf('/') + 1));
    expect(existsSync(name)).toBe(true);
    expect(existsSync(path('other'))).toBe(false);
  });

  it.each([
    ['an input', () => input('gcc_')],
    ['the lock', () => path('kept/gauge.lock.json')],
    ['a fragment', () => path('kept/gauge.config')],
    ['the script', () => path('kept/kit/run.sh')],
  ])('without %s is refused, and the file named', async (_, file) => {
    const name = file();
    rmSync(name);
    for (const command of ['check kept/gauge.yaml', 'kit kept/gauge.yaml -o other']) {
      expect(await quern(command)).toMatchObject({
        exit: 4,
        diagnostics: [
          {
            code: 'command/kept-incomplete',
            message: expect.stringContaining(name.slice(path('kept/').length)),
          },
        ],
      });
    }
  });

  it('is not written over when somebody else’s files are in it, or it is none', async () => {
    mkdirSync(path('kept/kit/out'));
    writeFileSync(path('kept/kit/out/bzImage'), 'mine');
    expect(await quern('keep gauge.yaml -o kept')).toMatchObject({
      exit: 2,
      diagnostics: [{ code: 'host/output-taken', message: expect.stringContaining('kit/out/bzImage') }],
    });
    expect(await quern('keep gauge.yaml -o linux')).toMatchObject({
      exit: 2,
      diagnostics: [{ code: 'host/output-taken' }],
    });
    expect(existsSync(path('kept/kit/out/bzImage'))).toBe(true);
  });

  it('lends nothing to a spec that it was not made of, nor does a kit that lies beside a spec', async () => {
    cpSync(path('wrong.yaml'), path('kept/wrong.yaml'));
    cpSync(path('wrong.config'), path('kept/wrong.config'));
    rmSync(input('gcc_'));
    const words = 'config kept/wrong.yaml --lock gauge.lock.json';
    expect(await quern(words)).toMatchObject({ exit: 1, command: 'config' });
    expect(await quern('kit gauge.yaml -o kit')).toMatchObject({ exit: 0 });
    rmSync(path('kit/run.sh'));
    expect(await quern('check gauge.yaml')).toMatchObject({ exit: 0 });
  });
});

describe('a kept folder of a source that was fetched', () => {
  let server: FileServer;
  let world: World;
  let pin: RemotePin;
  const url = 'https://kernels.otter-bank.example/linux-6.1.tar.gz';
  const fingerprint = 'A'.repeat(40);
  beforeEach(async () => {
    server = await serveFiles();
    world = makeWorld({ QUERN_MIRRORS: `https://kernels.otter-bank.example=${server.url}` });
    layFiles(join(world.folder, 'linux-6.1'), tree);
    const tar = execFileSync('tar', ['-c', '-C', world.folder, 'linux-6.1']);
    const file = gzipSync(tar, { level: 9 });
    // the same tar, in another file than the pinned one
    server.on('/linux-6.1.tar.gz', { body: gzipSync(tar, { level: 1 }) });
    pin = {
      kind: 'url',
      urls: [url],
      size: file.length,
      sha256: sha256(file),
      tar: { size: tar.length, sha256: sha256(tar) },
      signature: { sha256: sha256(Buffer.from('signed')), signer: fingerprint, made: '2026-01-01T00:00:00Z' },
      keyring: { path: 'keys/otter.asc', sha256: sha256(Buffer.from('keys')) },
      keys: [],
    };
    layFiles(world.folder, {
      'base.config': 'CONFIG_PIER=y\n',
      'keys/otter.asc': 'keys',
      'keys/linux.sign': 'signed',
      'patches/series': 'level.patch\n',
      'patches/level.patch': `--- a/Kconfig
+++ b/Kconfig
@@ -1,2 +1,2 @@
-mainmenu "Otter Bank $(KERNELVERSION)"
+mainmenu "Otter Bank, river $(KERNELVERSION)"
 source "scripts/Kconfig.include"
`,
      'gauge.yaml': `quern: 1
name: gauge-station
kernel:
  version: '6.1.0'
  source: { url: ${url}, signature: keys/linux.sign, signers: [${fingerprint}], keyring: keys/otter.asc }
arch: x86_64
config: { base: base.config.gz, set: { SONAR: m, MODULES: y } }
patches: [{ series: patches/series }]
environment: { debian: bookworm }
build: { user: gauge, host: otter-bank, epoch: 2026-01-01T00:00:00Z }
outputs: [image, modules]
`,
    });
    writeFileSync(
      join(world.folder, 'base.config.gz'),
      gzipSync(readFileSync(join(world.folder, 'base.config'))),
    );
    await fetchPinnedTar(world.host, pin);
    writeFileSync(join(world.folder, 'gauge.lock.json'), await wholeLock(world.host, 'gauge.yaml', pin));
    await keep({ spec: 'gauge.yaml', output: 'kept' }, world.host);
  });
  afterEach(async () => {
    world.remove();
    await server.close();
  });

  it('has the files that the spec names, under their names', () => {
    const names = readdirSync(join(world.folder, 'kept'), { recursive: true, encoding: 'utf8' });
    expect(names).toEqual(
      expect.arrayContaining([
        'base.config.gz',
        'keys/otter.asc',
        'keys/linux.sign',
        'patches/series',
        'patches/level.patch',
      ]),
    );
    expect(sumsHold(join(world.folder, 'kept'))).toBe(true);
  });

  it('is enough where nobody answers, in whatever file the tar came', async () => {
    const asked = server.requests.length;
    const elsewhere = makeWorld({ QUERN_MIRRORS: 'https://kernels.otter-bank.example=http://127.0.0.1:9' });
    try {
      cpSync(join(world.folder, 'kept'), join(elsewhere.folder, 'kept'), { recursive: true });
      await keep({ spec: 'kept/gauge.yaml', output: 'again' }, elsewhere.host);
      expect(contents(join(elsewhere.folder, 'again'))).toEqual(contents(join(world.folder, 'kept')));
      const source = join(elsewhere.folder, 'kept/kit/inputs/linux-6.1.tar');
      expect(sha256(readFileSync(source))).not.toBe(pin.sha256);
      writeFileSync(source, 'altered');
      const refused = await keep({ spec: 'kept/gauge.yaml', output: 'more' }, makeFresh(elsewhere)).catch(
        (error: unknown) => error,
      );
      const [first] = refused instanceof Failure ? refused.diagnostics : [];
      expect(first).toMatchObject({ code: 'host/lent-damaged', exit: 4 });
      expect(first?.message).toContain('linux-6.1.tar');
    } finally {
      elsewhere.remove();
    }
    expect(server.requests.length).toBe(asked);
  });

  const makeFresh = (elsewhere: World): World['host'] => {
    const { host, remove } = makeWorld();
    remove();
    return { ...host, cwd: elsewhere.folder };
  };

  it('has no room for a file of the spec where it has one of its own', async () => {
    const spec = readFileSync(join(world.folder, 'gauge.yaml'), 'utf8');
    writeFileSync(join(world.folder, 'README.md'), 'CONFIG_MODULES=y\n');
    writeFileSync(
      join(world.folder, 'gauge.yaml'),
      spec.replace('config: {', 'config: { fragments: [README.md],'),
    );
    writeFileSync(join(world.folder, 'gauge.lock.json'), await wholeLock(world.host, 'gauge.yaml', pin));
    const refused = await keep({ spec: 'gauge.yaml', output: 'other' }, world.host).catch(
      (error: unknown) => error,
    );
    const [first] = refused instanceof Failure ? refused.diagnostics : [];
    expect(first).toMatchObject({ code: 'command/kept-name-taken', exit: 2 });
    expect(existsSync(join(world.folder, 'other'))).toBe(false);
  });
});
