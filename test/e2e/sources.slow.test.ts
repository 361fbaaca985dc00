/** Kernels of other releases, and one kernel from every kind of source. Each pin makes or uses a whole environment. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { fetchPackage } from '../oracle/apt-root.ts';
import { needEngine, testCache } from '../setup/engine.ts';
import { makeWorkspace, type Workspace } from './workspace.ts';

needEngine();
let work: Workspace;
beforeEach(() => {
  work = makeWorkspace();
});
afterEach(() => work.remove());

interface PinnedLock {
  readonly inputs: { readonly source: { readonly kind: string } };
  readonly answers: {
    readonly kernelRelease: string;
    readonly config: string;
    readonly toolchain: Readonly<Record<string, string>>;
  };
}

function pinned(env: Readonly<Record<string, string>> = {}): PinnedLock {
  const ran = work.quern(['pin', work.spec], env);
  expect(ran.stderr).not.toContain('error[');
  expect(ran.status).toBe(0);
  return JSON.parse(readFileSync(work.path('gauge-station.lock.json'), 'utf8')) as PinnedLock;
}

const withoutPatch = (): void =>
  work.change(work.spec, 'patches: [patches/0001-gauge-banner.patch]', 'patches: []');

it.each([
  ['bullseye', '5.10'],
  ['trixie', '6.12'],
] as const)('the environment of %s answers for Linux %s', (release, series) => {
  withoutPatch();
  work.change(work.spec, 'debian: bookworm', `debian: ${release}`);
  work.change(work.spec, 'linux-source-6.1', `linux-source-${series}`);
  work.change(work.spec, "version: '6.1'", `version: '${series}'`);
  const { answers } = pinned();
  expect(answers.kernelRelease).toMatch(new RegExp(`^${series.replace('.', '\\.')}\\.\\d+-gauge$`, 'u'));
  expect(answers.toolchain['gcc']).toContain('Debian');
});

it('a compiler that is asked for by its version is the one that answers', () => {
  work.change(work.spec, 'debian: bookworm', 'debian: bookworm, gcc: 11');
  expect(pinned().answers.toolchain['gcc']).toMatch(/^gcc \(Debian 11\./u);
});

it('a package, a tarball and a tree of one source give one configuration', async () => {
  const { answers, inputs } = pinned();
  expect(inputs.source.kind).toBe('debian');
  const deb = await fetchPackage('linux-source-6.1', { release: 'bookworm' });
  const tarball = work.path('linux.tar.xz');
  execFileSync('sh', [
    '-c',
    'dpkg-deb --fsys-tarfile "$0" | tar -xO ./usr/src/linux-source-6.1.tar.xz >"$1"',
    deb,
    tarball,
  ]);
  const version = /^\d+\.\d+\.\d+/u.exec(answers.kernelRelease)?.[0] ?? '';
  work.change(work.spec, "version: '6.1'", `version: '${version}'`);
  work.change(work.spec, '{ debian: linux-source-6.1 }', '{ tarball: linux.tar.xz }');
  const fromTarball = pinned();
  expect(fromTarball.inputs.source.kind).toBe('tarball');
  // a pack names the source that it is of
  const same = { ...answers, pack: expect.stringMatching(/^[0-9a-f]{64}$/u) };
  expect(fromTarball.answers).toEqual(same);

  // a tree that lies elsewhere, where this machine allows it
  const trees = join(testCache(), 'trees');
  const tree = join(trees, `linux-${version}`);
  if (!existsSync(tree)) {
    mkdirSync(tree, { recursive: true });
    execFileSync('tar', ['-xf', tarball, '-C', tree, '--strip-components=1']);
  }
  execFileSync('ln', ['-s', tree, work.path('linux')]);
  work.change(work.spec, '{ tarball: linux.tar.xz }', '{ tree: linux }');
  expect(work.quern(['pin', work.spec]).stderr).toContain('QUERN_ALLOWED_FOLDERS');
  const fromTree = pinned({ QUERN_ALLOWED_FOLDERS: trees });
  expect(fromTree.inputs.source.kind).toBe('tree');
  expect(fromTree.answers).toEqual(same);
  // the kit takes the source with it, which nobody could fetch
  expect(work.quern(['kit', work.spec, '-o', 'kit'], { QUERN_ALLOWED_FOLDERS: trees }).status).toBe(0);
  execFileSync('sha256sum', ['-c', '--strict', '--ignore-missing', '--quiet', '../inputs.sha256'], {
    cwd: work.path('kit', 'inputs'),
  });
});
