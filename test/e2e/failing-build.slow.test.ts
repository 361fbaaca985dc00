/** A build that fails is a build of which something is left: the first error, the log, and on request its folder. */
import { spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, type Workspace } from './workspace.ts';

needEngine();
let work: Workspace;
beforeAll(() => {
  work = makeWorkspace();
});
afterAll(() => work.remove());

it('names the first error, keeps the log, and keeps the build folder where that is asked for', () => {
  work.change(work.spec, 'name: gauge-station', 'name: failing');
  work.change(
    'patches/0001-gauge-banner.patch',
    'pr_notice("Otter Bank river gauge\\n");',
    'pr_notice("Otter Bank" gauge);',
  );
  expect(work.quern(['pin', work.spec]).status).toBe(0);
  const ran = work.quern(['build', work.spec, '-o', 'out', '--keep-tree']);
  expect(ran.status).toBe(1);
  expect(ran.stderr).toMatch(
    /error\[container\/does-not-compile\]: the kernel does not compile: init\/main\.c:\d+/u,
  );
  expect(ran.stderr).toMatch(/expected .\). before .gauge./u);
  expect(ran.stderr).not.toMatch(/^ +at /mu);
  expect(existsSync(work.path('out'))).toBe(false);
  expect(readdirSync(work.path('out.failed')).sort()).toEqual(['failure.txt', 'kit', 'make.log.gz']);
  const log = gunzipSync(readFileSync(work.path('out.failed', 'make.log.gz'))).toString();
  expect(log).toContain('Error 1');

  const volume = /shell (quern-failing-\S+)/u.exec(ran.stderr)?.[1] ?? '';
  expect(volume).not.toBe('');
  // what it says can be done, done, on a terminal of its own: script(1) gives one
  const line = /kept: (sh \S+ -e docker shell \S+)/u.exec(ran.stderr)?.[1] ?? '';
  const entered = spawnSync('script', ['-qec', line, '/dev/null'], {
    env: work.env,
    input: 'ls /build/linux/init/main.c; exit\n',
    encoding: 'utf8',
  });
  expect(entered.stdout).toMatch(/^\/build\/linux\/init\/main\.c\r?$/mu);
  expect(spawnSync('docker', ['volume', 'rm', volume], { env: work.env }).status).toBe(0);
});

it('is stopped by Ctrl-C while it compiles, and leaves nothing', async () => {
  work.change(work.spec, 'name: failing', 'name: stopped');
  work.change(
    'patches/0001-gauge-banner.patch',
    'pr_notice("Otter Bank" gauge);',
    'pr_notice("Otter Bank river gauge\\n");',
  );
  expect(work.quern(['pin', work.spec]).status).toBe(0);
  const mine = (...what: readonly string[]): string =>
    spawnSync('docker', [...what, '-q', '--filter', 'name=quern-stopped'], {
      env: work.env,
      encoding: 'utf8',
    }).stdout;
  // the engine's data outlives a test that was killed
  const others = mine('volume', 'ls');
  const child = work.start(['build', work.spec, '-o', 'stopped']);
  let told = '';
  child.stderr?.on('data', (chunk: Buffer) => (told += chunk.toString()));
  const ended = once(child, 'exit');
  while (!/compiling: (?:\d+ of )?\d+ files/u.test(told) && child.exitCode === null) {
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  const before = readdirSync(work.folder);
  expect(before.some((name) => name.startsWith('.stopped'))).toBe(true);
  child.kill('SIGINT');
  expect((await ended)[0]).toBe(130);
  expect(readdirSync(work.folder).filter((name) => name.includes('stopped'))).toEqual([]);
  expect(mine('ps', '-a')).toBe('');
  await expect.poll(() => mine('volume', 'ls'), { timeout: 300_000 }).toBe(others);
});

it('stops where the environment answers otherwise than the lock says, and shows the difference', () => {
  // a compiler's flag that no option of this kernel hangs on: the configuration is what the lock says all the same
  const lock = JSON.parse(readFileSync(work.path('gauge-station.lock.json'), 'utf8')) as {
    answers: { probes: Record<string, string> };
  };
  const [command = ''] = Object.keys(lock.answers.probes).filter((one) => one.includes('-gz=zlib'));
  expect(lock.answers.probes[command]).toBe('y');
  lock.answers.probes[command] = 'n';
  writeFileSync(work.path('other.lock.json'), JSON.stringify(lock));
  const ran = work.quern(['build', work.spec, '--lock', 'other.lock.json', '-o', 'other']);
  expect(ran.status).toBe(4);
  expect(ran.stderr).toContain('the environment answers otherwise than when the configuration was resolved');
  expect(ran.stderr).toContain('-gz=zlib');
  expect(ran.stderr).toMatch(/when it was pinned: n\n +note: +here: +y/u);
});
