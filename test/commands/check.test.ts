/** What `check` says of a spec and its lock, and `resolveConfig` of answers that are known: without engine and network. */
import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { check } from '../../src/commands/check.ts';
import { openSpec } from '../../src/commands/open-spec.ts';
import { pinSource } from '../../src/commands/pin-inputs.ts';
import { resolveConfig, type Pinned, type Resolved } from '../../src/commands/resolve-config.ts';
import { pinPatch } from '../../src/commands/pinned-files.ts';
import { patchedPack } from '../../src/commands/source-pack.ts';
import { readSpecFiles, type LocalFiles } from '../../src/commands/spec-files.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { exitOf } from '../../src/diagnostics/diagnostic.ts';
import { toJson, type DiagnosticJson } from '../../src/diagnostics/to-json.ts';
import type { Host } from '../../src/host/host.ts';
import { noProgress } from '../../src/host/progress.ts';
import { Store } from '../../src/host/store.ts';
import type { FilePin } from '../../src/spec/lock.ts';
import { readLock } from '../../src/spec/read-lock.ts';
import { formatLock } from '../../src/spec/write-lock.ts';
import { gaugeTree, layFiles } from './gauge-tree.ts';

const spec = `quern: 1
name: gauge-station
kernel: { version: 6.1.0, source: { tree: linux } }
arch: x86_64
config:
  base: defconfig
  fragments: [pier.config]
  set:
    SONAR: y
    LEVEL: 12
    PIRE: y
patches: [patches/buoy.patch]
environment: { debian: bookworm }
build: { epoch: 2026-01-01T00:00:00Z }
localversion: -gauge
`;
const patch = `--- a/Kconfig
+++ b/Kconfig
@@ -14,3 +14,5 @@ config LEVEL
 	int "Level"
 	range 1 9
 	default 5
+config BUOY
+	def_bool y
--- /dev/null
+++ b/certs/gauge.pem
@@ -0,0 +1 @@
+otter
`;

/** The tree without the one option that hangs on the environment: nobody has to be asked. */
const withoutProbes = {
  Kconfig: (gaugeTree['Kconfig'] ?? '').replace('config HAS_TRUE\n\tdef_bool $(success,true)\n', ''),
};

let folder: string;
let host: Host;
beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-check-');
  layFiles(join(folder, 'station'), {
    'gauge.yaml': spec,
    'pier.config': '# of the station\n# CONFIG_PIER is not set\n',
    'patches/buoy.patch': patch,
  });
  layFiles(join(folder, 'station/linux'), gaugeTree);
  host = {
    cwd: folder,
    env: { PATH: '/nonexistent' },
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: noProgress,
    store: new Store(join(folder, 'store')),
  };
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const name = 'station/gauge.yaml';
const question = '{ true; } >/dev/null 2>&1 && echo "y" || echo "n"';

/** What a lock of the spec would pin, and what its environment would have been asked. */
async function pinned(): Promise<Pinned> {
  const opened = await openSpec(host, name);
  const files = await readSpecFiles(host, opened);
  const { origins, source } = await pinSource(host, opened);
  const pins = (list: LocalFiles['fragments']): readonly FilePin[] =>
    list.map(({ path, sha256 }) => ({ path, sha256 }));
  const inputs = {
    origins,
    indexes: [],
    source,
    fragments: pins(files.fragments),
    patches: pins(files.patches),
    packages: [],
  };
  const { sha256: pack } = await patchedPack(host, opened, inputs, files.patches);
  return { inputs, known: { toolchain: { gcc: 'gcc 12' }, probes: { [question]: 'y' }, pack } };
}

async function resolve(more: Partial<Pinned> = {}): Promise<Resolved> {
  const opened = await openSpec(host, name);
  const files = await readSpecFiles(host, opened);
  return resolveConfig(host, opened, files, { ...(await pinned()), ...more });
}

async function writeLock(): Promise<void> {
  const { inputs } = await pinned();
  const { answers } = await resolve();
  const opened = await openSpec(host, name);
  writeFileSync(
    join(folder, 'station/gauge.lock.json'),
    formatLock({ lock: 1, spec: opened.spec, inputs, answers }),
  );
}

async function checked(): Promise<{ exit: number; said: readonly DiagnosticJson[]; text: string }> {
  const { exit, diagnostics, sources, text = '' } = await check({ spec: name, probeHost: false }, host);
  return { exit, said: toJson(diagnostics, sources ?? new Map()), text };
}

const failure = async (work: Promise<unknown>): Promise<Failure> => {
  const error: unknown = await work.catch((caught: unknown) => caught);
  if (error instanceof Failure) return error;
  throw new Error(`no Failure: ${String(error)}`);
};

describe('quern check', () => {
  it('names requests that would be lost on their lines, by paths from where it was called', async () => {
    await writeLock();
    const { exit, said, text } = await checked();
    expect(exit).toBe(1);
    expect(text).toBe('gauge-station: 1 of 4 requests would be kept');
    const lost = said.filter(({ code }) => code === 'command/request-not-kept');
    expect(lost).toMatchObject([
      { message: 'dropped SONAR y → n', file: name, line: 9, column: 5 },
      { message: 'invalid LEVEL 12 → 9', file: name, line: 10 },
      { message: 'unknown PIRE y → n', file: name, line: 11 },
    ]);
    // the fragment, where it has the option that another one needs
    expect(lost[0]?.notes.join(' ')).toContain('station/pier.config:2');
    expect(lost[2]?.notes.join(' ')).toContain('PIER');
    expect(said.map(({ code }) => code)).not.toContain('command/answers-assumed');
  });

  it('judges a spec that has changed since it was pinned, and says that it has', async () => {
    await writeLock();
    writeFileSync(join(folder, name), spec.replace('LEVEL: 12', 'LEVEL: 7').replace('    PIRE: y\n', ''));
    const { exit, said, text } = await checked();
    expect(exit).toBe(2);
    expect(text).toBe('gauge-station: 2 of 3 requests would be kept');
    expect(said.filter(({ code }) => code === 'spec/lock-differs').map(({ message }) => message)).toEqual([
      '`config.set.LEVEL`: the lock was made for `12`, the spec says `7`',
      '`config.set.PIRE`: the lock was made for `y`, the spec no longer has it',
    ]);
  });

  it('says of a lock what build would say of it', async () => {
    await writeLock();
    const path = join(folder, 'station/gauge.lock.json');
    const lock = readFileSync(path, 'utf8');
    const changed = async (from: string | RegExp, to: string): Promise<readonly object[]> => {
      writeFileSync(path, lock.replace(from, to));
      const { exit, diagnostics } = await check({ spec: name, probeHost: false }, host);
      return diagnostics
        .filter(({ code }) => code === 'command/answers-changed')
        .map((one) => ({ ...one, ran: exit }));
    };
    expect(lock).toContain('"kernelRelease": "6.1.0-gauge"');
    expect(await changed('', '')).toEqual([]);
    expect(await changed('"kernelRelease": "6.1.0-gauge"', '"kernelRelease": "6.1.0-otter"')).toMatchObject([
      { exit: 4, message: expect.stringContaining('kernelRelease') },
    ]);
    expect(await changed(/"config": "[0-9a-f]{64}"/u, `"config": "${'0'.repeat(64)}"`)).toMatchObject([
      { exit: 4, message: expect.stringContaining('config') },
    ]);
    expect(await changed(/("probes": \{)/u, '$1 "uname -s": "Otter",')).toMatchObject([
      { exit: 4, message: expect.stringContaining('probes') },
    ]);
  });

  it('reads nothing of the source beside its pack where there are no patches', async () => {
    layFiles(join(folder, 'station'), { 'gauge.yaml': spec.replace('[patches/buoy.patch]', '[]') });
    layFiles(join(folder, 'station/linux'), withoutProbes);
    const { value } = await check({ spec: name, probeHost: false }, host);
    expect(value.patches).toBeUndefined();
    expect(readdirSync(join(folder, 'store/packs')).filter((one) => one.includes('.files.'))).toEqual([]);
  });

  it('says that patches were not tried where the source is gone, and what they touch was never looked at', async () => {
    layFiles(join(folder, 'station/linux'), { ...withoutProbes, 'init/main.c': 'otter\n' });
    const { inputs } = await pinned();
    const { spec: read } = await openSpec(host, name);
    writeFileSync(join(folder, 'station/gauge.lock.json'), formatLock({ lock: 1, spec: read, inputs }));
    const here = patch.replace('-14,3 +14,5', '-12,3 +12,5');
    const more = '--- a/init/main.c\n+++ b/init/main.c\n@@ -1 +1 @@\n-otter\n+gauge\n';
    writeFileSync(join(folder, 'station/patches/buoy.patch'), `${here}${more}`);
    const probes = { spec: name, probeHost: false };
    const tried = await check(probes, host);
    expect(tried.diagnostics.map(({ code }) => code)).toContain('patch/options');
    expect(tried.value.patches).toMatchObject([
      { path: 'patches/buoy.patch', files: 3, hunks: 3, adds: ['BUOY'] },
    ]);
    writeFileSync(
      join(folder, 'station/patches/buoy.patch'),
      `${here}${more.replaceAll('init/main.c', 'scripts/Kconfig.include')}`,
    );
    const { diagnostics } = await failure(check(probes, host));
    expect(diagnostics[0]).toMatchObject({ code: 'patch/does-not-apply' });
    // as with a store of which a CI cache has brought the packs alone
    rmSync(join(folder, 'store', inputs.source.sha256));
    rmSync(join(folder, 'store/packs', `${inputs.source.sha256}.files.1`));
    writeFileSync(join(folder, 'station/patches/buoy.patch'), `${here}${more}`);
    const untried = await check(probes, host);
    expect(untried.diagnostics.find(({ code }) => code === 'command/patches-untried')?.message).toContain(
      '2 files',
    );
    expect(untried.value.patches).toBeUndefined();
  });

  it('has a pattern of patches and a series pinned as what they stand for', async () => {
    const lines = (path: string, text: string): string =>
      `Description: ${text}\n\n--- /dev/null\n+++ b/${path}\n@@ -0,0 +1 @@\n+${text}\n`;
    layFiles(join(folder, 'station'), {
      'gauge.yaml': spec.replace(
        '[patches/buoy.patch]',
        '["patches/*.patch", { series: quilt/series }, { path: quilt/back.diff, reverse: true }]',
      ),
      'patches/9.patch': lines('drivers/nine.c', 'nine'),
      'patches/10.patch': lines('drivers/ten.c', 'ten'),
      'quilt/series': '# of the station\nzero.diff -p0\n',
      'quilt/zero.diff': lines('drivers/zero.c', 'zero').replace('b/', ''),
      'quilt/back.diff': lines('drivers/ten.c', 'ten'),
    });
    layFiles(join(folder, 'station/linux'), withoutProbes);
    const opened = await openSpec(host, name);
    const files = await readSpecFiles(host, opened);
    const { source } = await pinSource(host, opened);
    const patches = files.patches.map(pinPatch);
    expect(patches).toMatchObject([
      { path: 'patches/10.patch' },
      { path: 'patches/9.patch' },
      { path: 'patches/buoy.patch' },
      { path: 'quilt/zero.diff', strip: 0 },
      { path: 'quilt/back.diff', reverse: true },
    ]);
    const fragments = files.fragments.map(({ path, sha256 }) => ({ path, sha256 }));
    const inputs = { origins: {}, indexes: [], source, fragments, patches, packages: [] };
    const lock = formatLock({ lock: 1, spec: opened.spec, inputs });
    expect(readLock(lock, 'gauge.lock.json').diagnostics).toEqual([]);
    writeFileSync(join(folder, 'station/gauge.lock.json'), lock);
    const run = (): ReturnType<typeof check> => check({ spec: name, probeHost: false }, host);
    const sound = await run();
    expect(sound.diagnostics.map(({ code }) => code)).not.toContain('command/file-changed');
    expect(sound.value.patches?.map(({ subjects, files: count }) => [...subjects, count])).toEqual([
      ['ten', 1],
      ['nine', 1],
      [2],
      ['zero', 1],
      ['ten', 1],
    ]);
    layFiles(join(folder, 'station'), { 'patches/11.patch': lines('drivers/eleven.c', 'eleven') });
    const { diagnostics } = await run();
    expect(diagnostics.find(({ code }) => code === 'command/file-changed')?.notes).toEqual([
      '`patches/11.patch` has come.',
    ]);
  });

  it.each<[string, string, Readonly<Record<string, string>>, string, number]>([
    ['a pattern that nothing matches', '["patches/*.diff"]', {}, 'command/file-missing', 2],
    ['a patch that two items name', '[patches/buoy.patch, "patches/b*"]', {}, 'command/patch-twice', 2],
    [
      'a series that leads out of its folder',
      '[{ series: series }]',
      { series: '../gauge.patch\n' },
      'command/file-outside',
      2,
    ],
    [
      'an option of a series that is none of ours',
      '[{ series: series }]',
      { series: 'patches/buoy.patch --binary\n' },
      'patch/bad-series',
      4,
    ],
    [
      'a series of nothing that is there',
      '[{ series: series }]',
      { series: 'weir.patch\n' },
      'command/file-missing',
      2,
    ],
  ])('refuses %s', async (_, patches, files, code, exit) => {
    layFiles(join(folder, 'station'), {
      'gauge.yaml': spec.replace('[patches/buoy.patch]', patches),
      ...files,
    });
    const { diagnostics } = await failure(check({ spec: name, probeHost: false }, host));
    expect(diagnostics.map((one) => one.code)).toEqual([code]);
    expect(diagnostics[0]?.help).toMatch(/./u);
    expect(exitOf(diagnostics)).toBe(exit);
  });

  it('names the lines of a series whose patches are not there', async () => {
    layFiles(join(folder, 'station'), {
      'gauge.yaml': spec.replace('[patches/buoy.patch]', '[{ series: quilt/series }]'),
      'quilt/series': 'weir.patch -p1\nbuoy.patch\nlock.patch\n',
      'quilt/buoy.patch': patch,
    });
    const { diagnostics, sources } = await failure(check({ spec: name, probeHost: false }, host));
    const places = diagnostics.map(({ span }) => span && sources.get(span.file)?.slice(span.start, span.end));
    expect(places).toEqual(['weir.patch -p1', 'lock.patch']);
  });

  it('names the patch that has broken a Kconfig file', async () => {
    writeFileSync(
      join(folder, 'station/patches/buoy.patch'),
      patch.replace('+config BUOY\n', '+confgi BUOY\n'),
    );
    const { diagnostics } = await failure(resolve());
    expect(diagnostics.find(({ severity }) => severity === 'error')).toMatchObject({
      span: { file: 'Kconfig' },
      notes: [expect.stringContaining('station/patches/buoy.patch')],
    });
  });

  it('takes answers for granted where there is no lock, and says so', async () => {
    layFiles(join(folder, 'station/linux'), withoutProbes);
    writeFileSync(join(folder, 'station/patches/buoy.patch'), patch.replace('-14,3 +14,5', '-12,3 +12,5'));
    const { said } = await checked();
    expect(said.map(({ code }) => code)).toEqual(
      expect.arrayContaining(['command/not-pinned', 'command/answers-assumed', 'command/request-not-kept']),
    );
  });

  it('without a lock says how to get an answer that nobody brought along', async () => {
    const { diagnostics } = await failure(check({ spec: name, probeHost: false }, host));
    expect(exitOf(diagnostics)).toBe(3);
    expect(diagnostics[0]).toMatchObject({
      code: 'command/probe-unanswered',
      help: expect.stringMatching(/./u),
    });
    expect(diagnostics[0]?.notes.join(' ')).toContain('{ true; }');
  });

  it('finds a patch that does not apply to a Kconfig file, by its path from where it was called', async () => {
    writeFileSync(join(folder, 'station/patches/buoy.patch'), patch.replace('range 1 9', 'range 1 8'));
    const { diagnostics } = await failure(check({ spec: name, probeHost: false }, host));
    expect(exitOf(diagnostics)).toBe(4);
    expect(diagnostics[0]).toMatchObject({
      code: 'patch/needs-fuzz',
      span: { file: 'station/patches/buoy.patch' },
    });
  });
});

describe('resolveConfig with answers that are known', () => {
  it('runs nothing, and tells what the kernel will say of itself', async () => {
    const { answers, config } = await resolve();
    expect(answers).toMatchObject({
      kernelVersion: '6.1.0',
      kernelRelease: '6.1.0-gauge',
      versionString: '#1 Thu Jan  1 00:00:00 UTC 2026',
      epoch: 1767225600,
      probes: { [question]: 'y' },
      toolchain: { gcc: 'gcc 12' },
    });
    expect(Buffer.from(config).toString()).toContain('CONFIG_BUOY=y\n');
    expect(await host.store.has(answers.config)).toBe(true);
  });

  it('refuses a lock that says something else than what follows from it', async () => {
    const { answers } = await resolve();
    expect((await resolve({ answers })).answers).toEqual(answers);
    const altered = { ...answers, kernelRelease: '6.1.0-otter', probes: { [question]: 'n' } };
    const { diagnostics } = await failure(resolve({ answers: altered, known: undefined }));
    expect(exitOf(diagnostics)).toBe(4);
    expect(diagnostics[0]).toMatchObject({
      code: 'command/answers-changed',
      message: expect.stringContaining('kernelRelease, config'),
    });
  });

  it('asks nobody for an answer that is not there', async () => {
    const { answers } = await resolve();
    const { diagnostics } = await failure(resolve({ answers: { ...answers, probes: {} }, known: undefined }));
    expect(exitOf(diagnostics)).toBe(3);
    expect(diagnostics[0]?.help).toContain('quern pin --refresh answers');
  });

  it('refuses a source that is another kernel than the spec says', async () => {
    writeFileSync(join(folder, name), spec.replace('6.1.0', '6.1.1'));
    const { diagnostics } = await failure(resolve());
    expect(exitOf(diagnostics)).toBe(2);
    expect(diagnostics[0]?.message).toContain('6.1.0');
  });

  it('takes a base that is compressed, and names its place when it is for another architecture', async () => {
    const withBase = spec
      .replace('base: defconfig', 'base: ./station.config.gz')
      .replace('    LEVEL: 12\n', '');
    writeFileSync(join(folder, name), withBase);
    const lay = (text: string): void =>
      writeFileSync(join(folder, 'station/station.config.gz'), gzipSync(text));
    lay('CONFIG_X86=y\nCONFIG_LEVEL=7\n');
    expect(Buffer.from((await resolve()).config).toString()).toContain('CONFIG_LEVEL=7\n');
    lay('CONFIG_RISCV=y\nCONFIG_PIER=y\n');
    const { diagnostics, sources } = await failure(resolve());
    expect(toJson(diagnostics, sources)).toMatchObject([
      { code: 'kconfig/other-architecture', file: name, line: 6 },
    ]);
  });
});
