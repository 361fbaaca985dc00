/** A release from a server that plays kernel.org, through the commands: without engine. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterAll, afterEach, beforeAll, beforeEach, expect, it } from 'vitest';

import { check } from '../../src/commands/check.ts';
import { layInputs } from '../../src/commands/inputs-folder.ts';
import { openSpec } from '../../src/commands/open-spec.ts';
import { pinSource } from '../../src/commands/pin-inputs.ts';
import { patchedPack } from '../../src/commands/source-pack.ts';
import { locateFor, readSpecFiles } from '../../src/commands/spec-files.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { fetchInputs } from '../../src/source/fetch-inputs.ts';
import { storedPack } from '../../src/source/stored-pack.ts';
import { makeWorld, type World } from '../container/world.ts';
import { failureOf } from '../diagnostics/failure-of.ts';
import { serveFiles, type FileServer } from '../host/file-server.ts';
import { signingKeys } from '../source/release-keys.ts';
import { mirrorsTo, pathAt } from '../source/release-server.ts';
import { gaugeTree, layFiles } from './gauge-tree.ts';

let keys: Awaited<ReturnType<typeof signingKeys>>;
beforeAll(async () => {
  keys = await signingKeys();
}, 60_000);
afterAll(() => keys.remove());

let server: FileServer;
let world: World;
let tar: Buffer;
beforeEach(async () => {
  server = await serveFiles();
  world = makeWorld({ QUERN_MIRRORS: mirrorsTo(server) });
  layFiles(join(world.folder, 'linux-6.1'), gaugeTree);
  tar = execFileSync('tar', ['-c', '-C', world.folder, 'linux-6.1']);
  layFiles(world.folder, {
    'keys.asc': keys.otter.armored,
    'gauge.yaml': `quern: 1
name: gauge-station
kernel:
  version: '6.1.0'
  source: { release: kernel.org, keyring: keys.asc, signers: [${keys.otter.fingerprint}] }
arch: x86_64
config: { base: defconfig, set: { LEVEL: 7 } }
environment: { debian: bookworm }
`,
  });
  server.on(pathAt('cdn', 'linux-6.1.tar.gz'), { body: gzipSync(tar) });
  server.on(pathAt('cdn', 'linux-6.1.tar.sign'), { body: await keys.otter.sign(tar) });
});
afterEach(async () => {
  world.remove();
  await server.close();
});

const options = { spec: 'gauge.yaml', probeHost: true } as const;

it('is checked, and its configuration worked out; the first of a series bears no third number', async () => {
  const { value, exit } = await check(options, world.host);
  expect(exit).toBe(0);
  expect(value.verdicts).toMatchObject([{ option: 'LEVEL', value: '7', verdict: 'kept' }]);
});

it('that is not what was signed stops a check with exit code 4, and leaves nothing', async () => {
  server.on(pathAt('cdn', 'linux-6.1.tar.gz'), { body: gzipSync(Buffer.concat([tar, Buffer.alloc(512)])) });
  const error = await check(options, world.host).catch((reason: unknown) => reason);
  const [first] = error instanceof Failure ? error.diagnostics : [];
  expect(first).toMatchObject({ code: 'source/altered', exit: 4 });
  expect(readdirSync(world.host.store.folder)).toEqual([]);
});

it('whose keyring is not there is refused where the spec names it', async () => {
  rmSync(join(world.folder, 'keys.asc'));
  const error = await check(options, world.host).catch((reason: unknown) => reason);
  const [first] = error instanceof Failure ? error.diagnostics : [];
  expect(first).toMatchObject({ code: 'command/file-missing', exit: 2 });
  const { start = 0, end = 0 } = first?.span ?? {};
  expect(readFileSync(join(world.folder, 'gauge.yaml'), 'utf8').slice(start, end)).toBe('keys.asc');
});

it('is patched in the build as well, whatever the compression that it came in', async () => {
  layFiles(join(world.folder, 'linux-6.1'), { 'drivers/gauge.c': 'int level;\n' });
  tar = execFileSync('tar', ['-c', '-C', world.folder, 'linux-6.1']);
  server.on(pathAt('cdn', 'linux-6.1.tar.gz'), { body: gzipSync(tar) });
  server.on(pathAt('cdn', 'linux-6.1.tar.sign'), { body: await keys.otter.sign(tar) });
  const text = readFileSync(join(world.folder, 'gauge.yaml'), 'utf8');
  layFiles(world.folder, {
    'gauge.yaml': `${text}patches: [level.patch]\n`,
    'level.patch': '--- a/drivers/gauge.c\n+++ b/drivers/gauge.c\n@@ -1 +1 @@\n-int level;\n+long level;\n',
  });
  const { value } = await check(options, world.host);
  expect(value.patches).toMatchObject([{ path: 'level.patch', files: 1, hunks: 1 }]);

  const opened = await openSpec(world.host, 'gauge.yaml');
  const { patches } = await readSpecFiles(world.host, opened);
  const { diagnostics: _, ...pinned } = await pinSource(world.host, opened);
  const { tree } = await patchedPack(world.host, opened, pinned, patches, { whole: true });
  expect(tree?.kit.stack).toHaveLength(1);
  const left = createHash('sha256').update('long level;\n').digest('hex');
  expect(tree?.kit.left).toMatchObject([{ path: 'drivers/gauge.c', sha256: left }]);
});

it('is not mixed up with another one that a lock passes off as it', async () => {
  const opened = await openSpec(world.host, 'gauge.yaml');
  const { source } = await pinSource(world.host, opened);
  if (source.kind !== 'release') throw new Error('not a release');
  layFiles(join(world.folder, 'linux-6.1'), { Kconfig: 'mainmenu "Otter poacher"\n' });
  const other = gzipSync(execFileSync('tar', ['-c', '-C', world.folder, 'linux-6.1']));
  const { sha256, size } = await world.host.store.add([other]);
  const passedOff = { sha256: source.tar.sha256, remote: { ...source, sha256, size } };
  const failure = await failureOf(storedPack(world.host, passedOff));
  expect(failure).toMatchObject({ code: 'source/wrong-tar', exit: 4 });
  const { pack } = await storedPack(world.host, { sha256: source.tar.sha256, remote: source });
  expect(pack.read('Kconfig')).toBe(gaugeTree['Kconfig']);
});

it('goes into the inputs of a kit in the compression in which it came', async () => {
  const opened = await openSpec(world.host, 'gauge.yaml');
  const { diagnostics: _, ...pinned } = await pinSource(world.host, opened);
  const inputs = { ...pinned, indexes: [], fragments: [], patches: [], packages: [] };
  const elsewhere = makeWorld({ QUERN_MIRRORS: mirrorsTo(server) });
  try {
    server.on(pathAt('cdn', 'linux-6.1.tar.gz'), { status: 404 });
    server.on(pathAt('edge', 'linux-6.1.tar.xz'), { body: tar });
    await fetchInputs(elsewhere.host, inputs, locateFor(world.host, opened));
    await layInputs(elsewhere.host, inputs, join(elsewhere.folder, 'inputs'));
    expect(readFileSync(join(elsewhere.folder, 'inputs/linux-6.1.tar'))).toEqual(tar);
  } finally {
    elsewhere.remove();
  }
  const { source } = pinned;
  const digest = createHash('sha256').update(tar).digest('hex');
  expect(source).toMatchObject({ kind: 'release', tar: { sha256: digest, size: tar.length } });
});
