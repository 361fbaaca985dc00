/**
 * An environment that was kept in a file, used by an engine that does not have it: no package is fetched, and the answers
 * are those of the lock. Real engines: docker, and buildah, which takes what docker has saved.
 */
import { spawnSync } from 'node:child_process';
import { readFileSync, statSync, writeFileSync } from 'node:fs';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, type Workspace } from './workspace.ts';

needEngine();

let work: Workspace;
beforeAll(() => {
  work = makeWorkspace();
});
afterAll(() => work.remove());

const run = (program: string, ...words: readonly string[]): string =>
  spawnSync(program, words, { encoding: 'utf8', env: work.env }).stdout.trim();
const sha256 = (): string => run('sha256sum', work.path('otter.tar')).slice(0, 64);
const images = (): readonly string[] =>
  run('docker', 'image', 'ls', '--format', '{{.Repository}}:{{.Tag}}')
    .split('\n')
    .filter((name) => name.startsWith('quern-environment:'));

it('is kept, with its digest', () => {
  const saved = work.quern(['environment', work.spec, '--save', 'otter.tar', '--json']);
  expect(saved.stderr).not.toContain('error[');
  expect(JSON.parse(saved.stdout)).toMatchObject({
    exit: 0,
    engine: 'docker',
    file: { path: 'otter.tar', sha256: sha256(), bytes: statSync(work.path('otter.tar')).size },
  });
});

it('is taken by an engine that has lost it, and answers as before', () => {
  const before = images();
  for (const image of before) run('docker', 'image', 'rm', '--force', image);
  expect(images()).toEqual([]);
  const lock = readFileSync(work.path('gauge-station.lock.json'), 'utf8');
  const loaded = work.quern(['environment', work.spec, '--load', 'otter.tar', '--sha256', sha256()]);
  expect(loaded.stderr).not.toContain('error[');
  expect(loaded.status).toBe(0);
  expect(images()).toHaveLength(1);
  expect(before).toContain(images()[0]);
  expect(loaded.stderr).not.toContain('making the environment');
  const asked = work.quern(['pin', work.spec, '--refresh', 'answers']);
  expect(asked.status).toBe(0);
  expect(asked.stderr).not.toContain('making the environment');
  expect(readFileSync(work.path('gauge-station.lock.json'), 'utf8')).toBe(lock);
});

it('is taken by buildah as well', () => {
  const root = ['--root', work.path('buildah'), '--runroot', work.path('buildah-run')];
  writeFileSync(
    work.path('storage.conf'),
    `[storage]\ndriver = "vfs"\nrunroot = "${root[3]}"\ngraphroot = "${root[1]}"\n`,
  );
  const env = { CONTAINERS_STORAGE_CONF: work.path('storage.conf') };
  const loaded = work.quern(
    ['environment', work.spec, '--load', 'otter.tar', '--sha256', sha256(), '--engine', 'buildah'],
    env,
  );
  expect(loaded.stderr).not.toContain('error[');
  expect(loaded.status).toBe(0);
});

it('that was changed is refused', () => {
  const digest = sha256();
  writeFileSync(work.path('otter.tar'), 'x', { flag: 'a' });
  const loaded = work.quern(['environment', work.spec, '--load', 'otter.tar', '--sha256', digest]);
  expect([loaded.status, loaded.stderr]).toEqual([
    4,
    expect.stringContaining('is not the file with the SHA-256'),
  ]);
});
