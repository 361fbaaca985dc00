/**
 * The demo's kernel in an environment that begins with an image: a base system in a registry on this machine (Debian's
 * docker-registry), named by its tag. Once it is pinned, neither the registry nor any other place is needed, and the engines
 * give the same artefacts. Whole builds, two of them.
 */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { makeWorld } from '../container/world.ts';
import { pushBaseImage } from '../oracle/base-image.ts';
import { startRegistry, type TestRegistry } from '../oracle/registry.ts';
import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, type Workspace } from './workspace.ts';

needEngine();

let work: Workspace;
let folder: string;
let registry: TestRegistry | undefined;
beforeAll(() => {
  work = makeWorkspace();
  folder = mkdtempSync('/tmp/quern-image-');
});
afterAll(async () => {
  await registry?.stop();
  work.remove();
  rmSync(folder, { recursive: true, force: true });
});

const sums = (out: string): string => readFileSync(work.path(out, 'SHA256SUMS'), 'utf8');
/** Nobody answers there. */
const noNetwork = { HTTP_PROXY: 'http://127.0.0.1:9', HTTPS_PROXY: 'http://127.0.0.1:9' };

it('is pinned by digest, with what the image lacks on top', async () => {
  registry = await startRegistry();
  const world = makeWorld();
  const name = `${registry.host}/otter/base:bookworm`;
  await pushBaseImage(world.host, folder, 'bookworm', name);
  world.remove();
  expect(work.quern(['pin', work.spec]).status).toBe(0);
  const alone: unknown = JSON.parse(readFileSync(work.path('gauge-station.lock.json'), 'utf8'));
  work.change('gauge-station.yaml', 'debian: bookworm', `debian: bookworm, image: "${name}"`);
  const pinned = work.quern(['pin', work.spec], { QUERN_ALLOWED_HOSTS: '127.0.0.1' });
  expect(pinned.stderr).not.toContain('error[');
  expect(pinned.status).toBe(0);
  const lock: unknown = JSON.parse(readFileSync(work.path('gauge-station.lock.json'), 'utf8'));
  const packages = (one: unknown): readonly { package: string; essential: boolean }[] =>
    (one as { inputs: { packages: { package: string; essential: boolean }[] } }).inputs.packages;
  const lacking = packages(alone).filter(({ essential }) => !essential);
  expect(packages(lock).map((one) => one.package)).toEqual(lacking.map((one) => one.package));
  expect(lock).toHaveProperty('answers', (alone as { answers: unknown }).answers);
});

it.each([
  ['docker', {}],
  ['buildah', { BUILDAH_ISOLATION: 'chroot' }],
])('is the environment of a build by %s, without the registry', async (engine, env) => {
  await registry?.stop();
  registry = undefined;
  const ran = work.quern(['build', work.spec, '-o', engine, '--engine', engine], { ...env, ...noNetwork });
  expect(ran.stderr).not.toContain('error[');
  expect(ran.status).toBe(0);
  expect(work.quern(['verify', engine]).status).toBe(0);
  const record: unknown = JSON.parse(readFileSync(work.path(engine, 'provenance.json'), 'utf8'));
  expect(JSON.stringify(record)).toContain('pkg:oci/base@sha256%3A');
});

it('leaves the same artefacts by both', () => {
  expect(sums('buildah')).toBe(sums('docker'));
});
