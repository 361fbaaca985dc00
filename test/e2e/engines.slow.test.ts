/**
 * The same kernel by every engine: the artefacts are the same to the last bit, and the record says what it was that
 * shut the build in. Whole builds, one for each line of the table and one to compare with.
 */
import { spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, type Workspace } from './workspace.ts';

needEngine();

let work: Workspace;
beforeAll(() => {
  work = makeWorkspace();
});
afterAll(() => work.remove());

const sums = (folder: string): string => readFileSync(work.path(folder, 'SHA256SUMS'), 'utf8');
const said = (program: string, ...words: string[]): string =>
  spawnSync(program, words, { encoding: 'utf8', env: { ...process.env, ...lenient() } }).stdout.trim();

/**
 * Settings (containers.conf(5)) for a machine whose root may not raise limits, as in many a container, and whose
 * control groups are of the older kind: podman and its default runtime start nothing there without them.
 */
function lenient(): Record<string, string> {
  const file = work.path('containers.conf');
  writeFileSync(
    file,
    '[containers]\ndefault_ulimits = ["nofile=1024:1024", "nproc=4096:4096"]\n[engine]\nruntime = "runc"\n',
  );
  return { CONTAINERS_CONF: file };
}

it('docker, which the others are compared with', () => {
  expect(work.quern(['pin', work.spec, '--engine', 'docker']).status).toBe(0);
  const ran = work.quern(['build', work.spec, '-o', 'docker', '--engine', 'docker']);
  expect(ran.stderr).not.toContain('error[');
  expect(ran.status).toBe(0);
});

const left: Readonly<Record<string, readonly string[]>> = {
  buildah: ['containers', '-q'],
  podman: ['ps', '-aq'],
};

it.each([
  ['buildah', 'a container', {}, 'container'],
  ['buildah', 'a chroot', { BUILDAH_ISOLATION: 'chroot' }, 'chroot'],
  ['podman', 'a container', {}, 'container'],
])('%s, in %s', (engine, _, env, kind) => {
  const before = said(engine, ...(left[engine] ?? []));
  const out = `${engine}-${kind}`;
  const ran = work.quern(['build', work.spec, '-o', out, '--engine', engine], { ...lenient(), ...env });
  expect(ran.stderr).not.toContain('error[');
  expect(ran.status).toBe(0);
  expect(sums(out)).toBe(sums('docker'));
  expect(work.quern(['verify', out]).status).toBe(0);
  expect(said(engine, ...(left[engine] ?? []))).toBe(before);
  const record: unknown = JSON.parse(readFileSync(join(work.path(out), 'provenance.json'), 'utf8'));
  expect(record).toMatchObject({
    predicate: {
      runDetails: {
        builder: { version: { [engine]: expect.stringMatching(/^\d+\.\d+/u) } },
        quern_isolation: {
          kind,
          network: 'none',
          user: 1000,
          capabilities: '0000000000000000',
          bounding: '0000000000000000',
          noNewPrivileges: true,
        },
      },
    },
  });
});
