/** A source of which the tar counts: a kit takes it in any compression, and takes no other. GNU tar, xz and gzip make them. */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import type { RemotePin } from '../../src/spec/lock.ts';
import { serveFiles, type FileServer } from '../host/file-server.ts';
import { sha256 } from './fixture.ts';
import { layInputs, makeWorkbench, shells, smallShell, type Workbench } from './workbench.ts';

const name = 'linux-6.1.192.tar';
const forms = ['tar', 'xz', 'gz'] as const;

let server: FileServer;
let bench: Workbench;
let files: Readonly<Record<(typeof forms)[number], Buffer>>;
let pin: RemotePin;
beforeEach(async () => {
  server = await serveFiles();
  bench = await makeWorkbench((folder) => {
    const tree = join(folder, 'linux');
    mkdirSync(join(tree, 'arch'), { recursive: true });
    for (const file of ['Makefile', 'Kconfig']) writeFileSync(join(tree, file), `${file}\n`.repeat(5000));
    const tar = execFileSync('tar', ['-c', '-C', folder, 'linux']);
    files = { tar, xz: execFileSync('xz', ['-c'], { input: tar }), gz: gzipSync(tar) };
    const urls = ['one', 'two'].map((site) => `https://${site}.otter-bank.example/${name}.xz`);
    pin = {
      kind: 'url',
      urls,
      size: files.xz.length,
      sha256: sha256(files.xz),
      tar: { size: tar.length, sha256: sha256(tar) },
      keys: [],
    };
    return { source: pin };
  });
  layInputs(bench);
});
afterEach(async () => {
  bench.remove();
  await server.close();
});

const mirrors = (): Record<string, string> => ({
  QUERN_MIRRORS: ['one', 'two']
    .map((site) => `https://${site}.otter-bank.example=${server.url}/${site}`)
    .join(' '),
});

describe('on this machine', () => {
  it.each([
    ...forms.map((form) => [form, ['sh']] as const),
    ...[...shells, smallShell].map((shell) => ['gz', shell] as const),
  ])('comes from any place, as %s, with %j', async (form, shell) => {
    server.on(`/two/${name}.xz`, { body: files[form] });
    const { status, stderr } = await bench.run(['fetch'], { shell, env: mirrors() });
    expect([status, stderr.replace(/^curl.*\n/gmu, '')]).toEqual([0, '']);
    expect(readFileSync(bench.path('kit/inputs', name))).toEqual(files[form]);
    const { length } = server.requests;
    expect((await bench.run(['fetch'], { shell, env: mirrors() })).status).toBe(0);
    expect(server.requests).toHaveLength(length);
  });
});

it('is refused when the tar is another one, and the place is named', async () => {
  server.on(`/one/${name}.xz`, { body: gzipSync(Buffer.concat([files.tar, Buffer.alloc(512)])) });
  const { status, stderr } = await bench.run(['fetch'], { env: mirrors() });
  expect(status).toBe(4);
  expect(stderr).toContain(`${server.url}/one/${name}.xz is not the file that was pinned`);
});

describe('in the container', () => {
  /** What build.sh does, with its folder elsewhere. It ends where the tree has been looked at: there is no make. */
  function unpack(file: Uint8Array): {
    readonly status: number | null;
    readonly told: string;
    readonly made: string;
  } {
    const build = bench.path('build');
    mkdirSync(join(build, 'kit', 'patches'), { recursive: true });
    for (const part of ['kernel.config', 'patches/0001-0001-gauge-banner.patch'])
      writeFileSync(join(build, 'kit', part), readFileSync(bench.path('kit', part)));
    writeFileSync(join(build, 'kit', name), file);
    const script = readFileSync(bench.path('kit/build.sh'), 'utf8')
      .replaceAll(/\/build(?=[\s/]|$)/gmu, build)
      .replace(/^needed=.*$/mu, 'needed=1');
    const { status, stderr, stdout } = spawnSync('sh', ['-c', script], {
      env: { PATH: process.env['PATH'], ISOLATION: 'none', JOBS: '1' },
      encoding: 'utf8',
    });
    const made = spawnSync('find', ['linux', '-type', 'f'], { cwd: build, encoding: 'utf8' }).stdout;
    return { status, told: stdout + stderr, made: made.trim().split('\n').sort().join(' ') };
  }

  it.each(forms)('is unpacked as %s', (form) => {
    const { told, made } = unpack(files[form]);
    expect(told).not.toContain('not what was pinned');
    expect(told).toContain('== applying');
    expect(made).toBe('linux/Kconfig linux/Makefile');
  });

  it.each<readonly [string, () => Buffer]>([
    ['with something behind its end', () => Buffer.concat([files.tar, Buffer.alloc(512)])],
    ['with a changed byte', () => Buffer.from(files.tar).fill('x', 2000, 2001)],
    ['cut off', () => files.xz.subarray(0, -40)],
    ['that is none', () => Buffer.from('level 4.20 m')],
  ])('a tar %s is refused', (_, make) => {
    const { status, told } = unpack(make());
    expect(status).toBe(4);
    expect(told).toContain('build: the source is not what was pinned');
  });
});
