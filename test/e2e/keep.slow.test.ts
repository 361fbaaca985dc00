/**
 * The demo's kernel, built from what was kept of it where there is no network: by Quern with an empty store, and by the
 * kit's own script. The engine is outside of the namespace, and reached by its socket. Whole builds, three of them.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { builtCli } from '../setup/built-cli.ts';
import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, withoutNetwork, type Ran, type Workspace } from './workspace.ts';

needEngine();

const minutes = 60_000;

let work: Workspace;
/** Another machine: another folder, no store, and no network. */
let station: string;
beforeAll(() => {
  work = makeWorkspace();
  station = mkdtempSync('/tmp/quern-station-');
});
afterAll(() => {
  work.remove();
  rmSync(station, { recursive: true, force: true });
});

const offline = (words: readonly string[]): Ran =>
  withoutNetwork(words, station, { ...work.env, QUERN_STORE: join(station, 'store') });
const sums = (folder: string): string => readFileSync(join(folder, 'SHA256SUMS'), 'utf8');

it(
  'is built as usual, and kept',
  () => {
    const built = work.quern(['build', work.spec, '-o', 'out']);
    expect(built.stderr).not.toContain('error[');
    expect(built.status).toBe(0);
    expect(work.quern(['keep', work.spec, '-o', join(station, 'kept')]).status).toBe(0);
    // referee: GNU coreutils
    expect(
      spawnSync('sha256sum', ['-c', '--quiet', 'SHA256SUMS'], { cwd: join(station, 'kept') }).status,
    ).toBe(0);
  },
  40 * minutes,
);

it('has no network there', () => {
  expect(offline(['sh', '-c', 'cat /proc/net/route']).stdout.trim().split('\n')).toHaveLength(1);
});

it(
  'comes to the same artefacts by Quern',
  () => {
    const built = offline([process.execPath, builtCli(), 'build', 'kept/gauge-station.yaml', '-o', 'out']);
    expect(built.stderr).not.toContain('error[');
    expect(built.status).toBe(0);
    expect(sums(join(station, 'out'))).toBe(sums(work.path('out')));
  },
  30 * minutes,
);

it(
  'comes to the same artefacts by the script of the kit',
  () => {
    const built = offline(['sh', 'kept/kit/run.sh', '-o', 'by-hand']);
    expect(built.status).toBe(0);
    const bySum = (text: string): string[] => text.trim().split('\n').sort();
    expect(bySum(sums(join(station, 'by-hand')))).toEqual(bySum(sums(work.path('out'))));
  },
  30 * minutes,
);
