/** A build that fails is a build of which something is left: the first error, the log, and on request its folder. */
import { spawnSync } from 'node:child_process';
import { existsSync, readdirSync, readFileSync } from 'node:fs';
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
  // what it says can be done, done: the folder is entered by the kit that is named (not a terminal here: one command)
  const entered = spawnSync(
    'docker',
    [
      'run',
      '--rm',
      '--network',
      'none',
      '-v',
      `${volume}:/build`,
      imageName(),
      'sh',
      '-c',
      'ls /build/linux/init/main.c',
    ],
    {
      env: work.env,
      encoding: 'utf8',
    },
  );
  expect(entered.stdout.trim()).toBe('/build/linux/init/main.c');
  expect(spawnSync('docker', ['volume', 'rm', volume], { env: work.env }).status).toBe(0);
});

function imageName(): string {
  const { stdout } = spawnSync('docker', ['images', '-q', 'quern-environment'], {
    env: work.env,
    encoding: 'utf8',
  });
  return stdout.trim().split('\n')[0] ?? '';
}
