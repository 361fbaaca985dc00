/**
 * Hostile specs through the command line and, where the reader lets one pass, on into kit and shell: nothing of them
 * runs, leaves its folder or ends in a stack trace. The programs that the kit would call are stand-ins that write down
 * what they were given, so that whatever else happens was done by a value of the spec.
 */
import { spawnSync } from 'node:child_process';
import { chmodSync, existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { main } from '../../src/cli/main.ts';
import { commands } from '../../src/commands/commands.ts';
import type { Host } from '../../src/host/host.ts';
import { noProgress } from '../../src/host/progress.ts';
import { writeFiles } from '../../src/host/output-folder.ts';
import { Store } from '../../src/host/store.ts';
import { renderKit, type Files } from '../../src/kit/kit.ts';
import type { KitPatches } from '../../src/kit/patches.ts';
import { readSpec } from '../../src/spec/read-spec.ts';
import { formatLock } from '../../src/spec/write-lock.ts';
import { readLock } from '../../src/spec/read-lock.ts';
import type { Spec } from '../../src/spec/spec.ts';
import { answers, config, inputs, kitTemplates, plainPatches, sha256 } from '../kit/fixture.ts';
import { engineStandIn, fixtureInputs, readCalls } from '../kit/workbench.ts';
import { startEmptyArchive } from '../setup/empty-archive.ts';
import { hostileSpecs } from '../spec/hostile.ts';

/** What the payloads of `hostileSpecs` would leave behind if one of them ran. */
const canary = '/tmp/quern-was-here';

const specs = hostileSpecs(400, 20261125);
let folder: string;
let bin: string;
beforeAll(() => {
  rmSync(canary, { force: true });
  folder = mkdtempSync('/tmp/quern-hostile-');
  bin = join(folder, 'bin');
  mkdirSync(bin);
  for (const name of ['docker', 'curl', 'wget', 'make', 'patch', 'dpkg-deb', 'gcc', 'ld']) {
    writeFileSync(join(bin, name), '#!/bin/sh\nexit 1\n');
    chmodSync(join(bin, name), 0o755);
  }
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const snapshot = (): readonly string[] => readdirSync('/tmp').filter((name) => name.startsWith('quern-was'));

it('answers each of them with a sentence and an exit code of the contract, and writes nothing', async () => {
  expect(specs.length).toBeGreaterThanOrEqual(200);
  const place = join(folder, 'check');
  mkdirSync(place);
  const archive = await startEmptyArchive();
  for (const [index, spec] of specs.entries()) {
    const name = `${index}.yaml`;
    writeFileSync(join(place, name), spec);
    let told = '';
    const sink = { write: (text: string) => ((told += text), true), isTTY: false };
    const host: Host = {
      cwd: place,
      env: { PATH: bin, QUERN_MIRRORS: archive.mirrors },
      now: () => new Date(),
      signal: new AbortController().signal,
      progress: noProgress,
      store: new Store(join(folder, 'store')),
    };
    for (const words of [
      ['check', name],
      ['check', name, '--json'],
      ['build', name, '-o', 'out'],
    ]) {
      const code = await main(words, { stdout: sink, stderr: sink, host }, commands);
      expect([0, 2, 3], `${words.join(' ')}: ${told}`).toContain(code);
    }
    expect(told).not.toMatch(/^\s+at .*:\d+:\d+\)?$/mu);
    // nothing that drives a terminal gets out of a diagnostic
    expect(told).not.toMatch(/[\x00-\x08\x0b-\x1f\x7f\u009b\u202e]/u);
    rmSync(join(place, name));
  }
  archive.stop();
  expect(readdirSync(place)).toEqual([]);
  expect(existsSync(join(folder, 'store'))).toBe(false);
  expect(snapshot()).toEqual([]);
}, 300_000);

const patchFiles = (spec: Spec): KitPatches =>
  plainPatches(spec.patches.filter((one) => typeof one === 'string'));

const render = (spec: Spec): Files =>
  renderKit(spec, { inputs, answers }, config, patchFiles(spec), kitTemplates());

/** Where the stand-ins of the programs inside the container lie, which are first in PATH when its script runs here. */
const insideBin = (): string => join(folder, 'inside-bin');

/** Stand-ins that succeed and write down what they were given: the compiler, the kernel's make, the archive's tools. */
function layInsideStandIns(log: string): void {
  mkdirSync(insideBin());
  const program = (name: string, script: string): void => {
    writeFileSync(join(insideBin(), name), `#!/bin/sh\n${script}`);
    chmodSync(join(insideBin(), name), 0o755);
  };
  for (const [name, version] of Object.entries(answers.toolchain)) program(name, `echo '${version}'\n`);
  program('patch', `cat >/dev/null\n`);
  program('dpkg-deb', `tar -c -C '${join(folder, 'source')}' .\n`);
  program(
    'make',
    `case $1 in --version) echo 'GNU Make 4.3'; exit ;; esac
{ printf '%s\\0' "$@"; env -0 | grep -z '^KBUILD_BUILD_'; printf '\\n'; } >>'${log}'
for target in "$@"; do
  case $target in
    kernelrelease) echo '${answers.kernelRelease}' ;;
    kernelversion) echo '${answers.kernelVersion}' ;;
    olddefconfig | tinyconfig | *defconfig) [ -e .config ] || : >.config ;;
    bzImage) mkdir -p arch/x86/boot; echo image >arch/x86/boot/bzImage; echo map >System.map; echo elf >vmlinux ;;
    INSTALL_MOD_PATH=*) mkdir -p "\${target#*=}/lib/modules/1"; echo module >"\${target#*=}/lib/modules/1/a.ko" ;;
  esac
done
`,
  );
  const tree = join(folder, 'tree', 'linux-source-6.1');
  mkdirSync(join(tree, 'arch'), { recursive: true });
  for (const name of ['Makefile', 'Kconfig']) writeFileSync(join(tree, name), '');
  mkdirSync(join(folder, 'source/usr/src'), { recursive: true });
  const packed = join(folder, 'source/usr/src/linux-source-6.1.tar.xz');
  expect(spawnSync('tar', ['-cJf', packed, '-C', join(folder, 'tree'), 'linux-source-6.1']).status).toBe(0);
}

/** The script for the inside of the container, run here: `/build/` is a folder of ours. */
function runInside(place: string, files: Files): { status: number | null; said: string; build: string } {
  const build = join(place, 'build');
  mkdirSync(join(build, 'kit/patches'), { recursive: true });
  const carry = (name: string, content: Uint8Array | string): void =>
    writeFileSync(join(build, 'kit', name), content);
  for (const [name, content] of files) {
    if (name === 'kernel.config' || name === 'check-probes.sh' || name.startsWith('patches/'))
      carry(name, content);
  }
  carry('linux-source-6.1_6.1.192-2_all.deb', 'source');
  const script = Buffer.from(files.get('build.sh') ?? [])
    .toString()
    .replaceAll(/\/build(?=[/ ])/gu, build)
    // this machine need not have room for a kernel
    .replace(/^needed=\d+$/mu, 'needed=1');
  const { status, stdout, stderr } = spawnSync('sh', ['-c', script], {
    cwd: build,
    env: { PATH: `${insideBin()}:${process.env['PATH']}`, JOBS: '2', ISOLATION: 'container', HOME: build },
    encoding: 'utf8',
  });
  return { status, said: stdout + stderr, build };
}

it('lets those that pass the reader into kit and shell, where they stay in their places', async () => {
  const accepted = specs.flatMap((text) => {
    const { value } = readSpec(text, 'spec.yaml');
    return value ? [value] : [];
  });
  expect(accepted.length).toBeGreaterThan(10);
  // no two alike are run twice
  const different = [...new Map(accepted.map((spec) => [JSON.stringify(spec), spec])).values()];
  const makeLog = join(folder, 'make.calls');
  layInsideStandIns(makeLog);
  const state = join(folder, 'state');
  mkdirSync(join(state, 'out'), { recursive: true });
  writeFileSync(join(state, 'image'), '');
  writeFileSync(join(state, 'out/bzImage'), 'image');
  writeFileSync(join(state, 'out/SHA256SUMS'), `${sha256('image')}  bzImage\n`);
  writeFileSync(join(bin, 'docker'), engineStandIn(state));
  const area = join(folder, 'area');
  mkdirSync(area);
  const around = readdirSync(folder).concat('make.calls').sort();
  let built = 0;
  for (const spec of different) {
    const files = render(spec);
    const place = join(area, 'kit');
    await writeFiles(place, files);
    for (const name of files.keys()) {
      expect(name).toMatch(/^(?:[A-Za-z0-9.-]+|patches\/\d{4}-[A-Za-z0-9._-]*)$/u);
    }
    mkdirSync(join(place, 'inputs'));
    for (const [name, content] of fixtureInputs) writeFileSync(join(place, 'inputs', name), content);
    rmSync(join(state, 'calls'), { force: true });

    // through run.sh, whose engine takes everything and gives an image back
    const run = spawnSync('sh', ['run.sh'], {
      cwd: place,
      env: { PATH: `${bin}:${process.env['PATH']}`, TMPDIR: area },
      encoding: 'utf8',
    });
    expect(run.stderr).toBe('');
    expect(run.status).toBe(0);
    expect(readdirSync(join(place, 'out')).sort()).toEqual(['SHA256SUMS', 'bzImage']);
    const volume = new RegExp(`^quern-${spec.name.replaceAll('.', '\\.')}-\\d{14}-[A-Za-z0-9]+$`, 'u');
    const calls = readCalls(join(state, 'calls'));
    expect(calls.map(([first, second]) => (first === 'run' ? first : `${first} ${second}`))).toEqual([
      'version undefined',
      'version --format',
      'image inspect',
      'version undefined',
      'version --format',
      'image inspect',
      'volume create',
      'run',
      'run',
      'run',
      'rm -f',
      'rm -f',
      'rm -f',
      'volume rm',
    ]);
    expect(calls.find(([, second]) => second === 'create')?.[2]).toMatch(volume);
    const carried = spawnSync('tar', ['-tf', join(state, 'in.tar')], { encoding: 'utf8' }).stdout;
    expect(carried.trim().split('\n').sort()).toEqual(
      [...files.keys(), 'linux-source-6.1_6.1.192-2_all.deb']
        .filter(
          (name) => !/^(?:Containerfile|README\.md|environment\.sh|inputs\.sha256|run\.sh)$/u.test(name),
        )
        .sort(),
    );

    // and through what would run in the container
    rmSync(makeLog, { force: true });
    const inside = runInside(place, files);
    expect(inside.status, inside.said).toBe(0);
    const given = readCalls(makeLog);
    expect(given.length).toBeGreaterThanOrEqual(3);
    for (const words of given) {
      expect(words.slice(0, 2)).toEqual(['ARCH=x86_64', `LOCALVERSION=${spec.localversion}`]);
      expect(words).toContain(`KBUILD_BUILD_USER=${spec.build.user}`);
      expect(words).toContain(`KBUILD_BUILD_HOST=${spec.build.host}`);
    }
    built += 1;
    const artefacts = readdirSync(join(inside.build, 'out'));
    expect(artefacts).toEqual(
      expect.arrayContaining(['bzImage', 'System.map', 'kernel.config', 'SHA256SUMS']),
    );
    expect(artefacts.includes('modules.tar.xz')).toBe(spec.outputs.includes('modules'));
    // nothing was written beside the kit, or beside the folder that it is in
    expect(readdirSync(area)).toEqual(['kit']);
    const rendered = [...files.keys()].map((name) => name.replace(/\/.*/u, ''));
    expect(new Set(readdirSync(place))).toEqual(new Set([...rendered, 'build', 'inputs', 'out']));
    expect(readdirSync(folder).sort()).toEqual(around);
    expect(snapshot()).toEqual([]);
    rmSync(place, { recursive: true });
    const lock = formatLock({ lock: 1, spec, inputs: { ...inputs, patches: [], fragments: [] } });
    expect(() => readLock(lock, 'lock.json')).not.toThrow();
  }
  expect(built).toBe(different.length);
  expect(snapshot()).toEqual([]);
}, 600_000);
