/**
 * A kit whose environment begins with an image. The engines are stand-ins that keep what they are given; skopeo, which has
 * the image library of podman and buildah, reads it.
 */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, rmSync } from 'node:fs';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { inputFiles } from '../../src/kit/input-files.ts';
import { renderKit } from '../../src/kit/kit.ts';
import type { ImagePin, Inputs } from '../../src/spec/lock.ts';
import { otterSystem, tarOf } from '../source/otter-image.ts';
import { answers, config, inputs, kitTemplates, patches, sha256, spec } from './fixture.ts';
import { engineStandIn, layInputs, makeWorkbench, shells, type Workbench } from './workbench.ts';

const zstd = (bytes: Uint8Array): Buffer => spawnSync('zstd', ['-q', '-c'], { input: bytes }).stdout;

let tars: readonly Buffer[];
let layers: readonly Buffer[];
let image: ImagePin;
let bench: Workbench;

beforeEach(async () => {
  tars = [await tarOf(otterSystem), await tarOf({ 'etc/.wh.gauge': '' }), await tarOf({ 'etc/b': '1' })];
  const [first, second, third] = tars as [Buffer, Buffer, Buffer];
  layers = [gzipSync(first), zstd(second), third];
  image = {
    registry: 'pier.otter-bank.example:5000',
    repository: 'gauge/base',
    tag: '7',
    manifest: 'b'.repeat(64),
    architecture: 'amd64',
    packages: [],
    layers: layers.map((layer, place) => ({
      sha256: sha256(layer),
      size: layer.length,
      compression: (['gzip', 'zstd', 'none'] as const)[place] ?? 'none',
      unpacked: sha256(tars[place] ?? ''),
    })),
  };
  bench = await makeWorkbench(() => withImage());
  const stand = engineStandIn(bench.state)
    .replace(
      "'image inspect')",
      '\'image inspect\') case $3 in quern-base:*) [ -e "$state/base.tar" ]; exit ;; esac;',
    )
    .replace('  build*)', '  load*) cp "$4" "$state/base.tar" ;;\n  build*)');
  bench.program('docker', stand);
  layInputs(bench);
  rmSync(bench.path('kit/inputs/dash_0.5.12-2_amd64.deb'));
  for (const [place, { file }] of inputFiles(withImage()).slice(1, 4).entries())
    bench.write(`kit/inputs/${file}`, layers[place] ?? '');
});
afterEach(() => bench.remove());

/** gcc alone is missing in it. */
function withImage(): Inputs {
  return { ...inputs, image, packages: inputs.packages.filter(({ essential }) => !essential) };
}

describe('the environment', () => {
  it.each(shells)('is made of the image and what it lacks (%s)', async (...shell) => {
    const { status, stderr } = await bench.run(['environment'], { shell });
    expect(stderr).toBe('');
    expect(status).toBe(0);
    const calls = bench.calls().map((call) => call.slice(0, 2).join(' '));
    expect(calls.filter((call) => /^(?:load|build)/u.test(call))).toEqual([
      'load --quiet',
      'build --network',
    ]);
    const containerfile = readFileSync(bench.path('state/Containerfile'), 'utf8');
    expect(containerfile).toContain(`\nFROM quern-base:${'b'.repeat(24)}\nADD seed.tar /\n`);
    const { stdout } = spawnSync('tar', ['-tf', bench.path('state/seed.tar')], { encoding: 'utf8' });
    expect(stdout).toBe('environment.sh\nquern-packages/gcc_12.2.0-3+b1_amd64.deb\n');
  });

  it('begins with exactly these layers, and with nothing else of the image', async () => {
    expect((await bench.run(['environment'])).status).toBe(0);
    const read = (...words: readonly string[]): unknown => {
      const { stdout, stderr, status } = spawnSync('skopeo', [
        'inspect',
        ...words,
        `docker-archive:${bench.path('state/base.tar')}`,
      ]);
      if (status !== 0) throw new Error(stderr.toString());
      return JSON.parse(stdout.toString());
    };
    expect(read('--config')).toEqual({
      architecture: 'amd64',
      os: 'linux',
      config: {},
      rootfs: { type: 'layers', diff_ids: tars.map((tar) => `sha256:${sha256(tar)}`) },
    });
    mkdirSync(bench.path('copied'));
    const copied = spawnSync('skopeo', [
      'copy',
      `docker-archive:${bench.path('state/base.tar')}`,
      `dir:${bench.path('copied')}`,
    ]);
    expect(copied.stderr.toString()).toBe('');
    for (const tar of tars) expect(readFileSync(bench.path('copied', sha256(tar))).equals(tar)).toBe(true);
  });

  it('takes the image that the engine has already', async () => {
    bench.write('state/base.tar', '');
    expect((await bench.run(['environment'])).status).toBe(0);
    expect(bench.calls().some(([verb]) => verb === 'load')).toBe(false);
  });

  it('is another one for another image', async () => {
    const built = async (): Promise<string> => {
      await bench.run(['environment']);
      const call = bench.calls().findLast(([verb]) => verb === 'build') ?? [];
      return call[call.indexOf('--tag') + 1] ?? '';
    };
    const before = await built();
    rmSync(bench.path('state/image'));
    const other = gzipSync('another layer');
    image = {
      ...image,
      layers: [{ ...image.layers[0], sha256: sha256(other) } as ImagePin['layers'][number]],
    };
    const files = renderKit(spec, { inputs: withImage(), answers }, config, patches, kitTemplates());
    bench.write('kit/run.sh', files.get('run.sh') ?? '');
    bench.write(`kit/inputs/${inputFiles(withImage())[1]?.file ?? ''}`, other);
    expect(await built()).not.toBe(before);
  });

  it('says that the engine cannot load it', async () => {
    bench.program(
      'docker',
      engineStandIn(bench.state).replace('  build*)', "  load*) echo 'no room' >&2; exit 1 ;;\n  build*)"),
    );
    const { status, stderr } = await bench.run(['environment']);
    expect(status).toBe(3);
    expect(stderr).toContain('no room');
    expect(stderr).toContain('the engine cannot load the image');
  });

  it('needs nothing on top of an image that has all', async () => {
    const files = renderKit(
      spec,
      { inputs: { ...withImage(), packages: [] }, answers },
      config,
      patches,
      kitTemplates(),
    );
    bench.write('kit/run.sh', files.get('run.sh') ?? '');
    const { status, stderr } = await bench.run(['environment']);
    expect(stderr).toBe('');
    expect(status).toBe(0);
    const { stdout } = spawnSync('tar', ['-tf', bench.path('state/seed.tar')], { encoding: 'utf8' });
    expect(stdout).toBe('environment.sh\n');
    expect(readFileSync(bench.path('kit/run.sh'), 'utf8')).toContain('\narchitecture=amd64\n');
  });
});

it('loads it into buildah, and begins there', async () => {
  bench.program(
    'buildah',
    `#!/bin/sh
state='${bench.state}'
{ printf '%s\\0' "$@"; printf '\\n'; } >>"$state/calls"
case "$1 $*" in
  'info '*) echo amd64 ;;
  'inspect '*' quern-base:'*) [ -e "$state/base.tar" ] ;;
  'inspect '*' image '*) [ -e "$state/image" ] ;;
  'pull '*) cp "\${3#docker-archive:}" "$state/base.tar" ;;
  'commit '*) : >"$state/image" ;;
  'unshare '*) shift; exec "$@" ;;
esac
`,
  );
  bench.program(
    'unshare',
    '#!/bin/sh\nwhile :; do case $1 in --*) shift ;; *) break ;; esac; done\nexec "$@"\n',
  );
  const { status, stderr } = await bench.run(['-e', 'buildah', 'environment']);
  expect(stderr).toBe('');
  expect(status).toBe(0);
  const begun = bench.calls().find(([verb]) => verb === 'from') ?? [];
  expect(begun.at(-1)).toBe(`quern-base:${'b'.repeat(24)}`);
  expect(existsSync(bench.path('state/base.tar'))).toBe(true);
});

it('says where a layer that is not there comes from', async () => {
  const { file, sha256: digest } = inputFiles(withImage())[1] ?? { file: '', sha256: '' };
  rmSync(bench.path('kit/inputs', file));
  const { status, stderr } = await bench.run(['fetch']);
  expect(status).toBe(4);
  expect(stderr).toContain(
    `skopeo copy docker://pier.otter-bank.example:5000/gauge/base@sha256:${'b'.repeat(64)} dir:layers`,
  );
  expect(stderr).toContain(`cp layers/${digest} `);
});

it('passes shellcheck', () => {
  const folder = bench.path('kit');
  const { stdout } = spawnSync('shellcheck', ['--shell=sh', 'run.sh', 'environment.sh'], {
    cwd: folder,
    encoding: 'utf8',
  });
  expect(stdout).toBe('');
});
