/**
 * The same bytes on every machine, as far as one machine can show it: Quern in another folder, as another user, with
 * another umask, time zone, locale and number of compilers; and the kit by hand, with nothing at hand but the commonest
 * tools. Whole builds, three of them.
 */
import { spawnSync } from 'node:child_process';
import {
  chmodSync,
  chownSync,
  cpSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
} from 'node:fs';
import { dirname, join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { builtCli } from '../setup/built-cli.ts';
import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, type Workspace } from './workspace.ts';

needEngine();

/** Nobody in particular. */
const stranger = 65_534;

let work: Workspace;
let elsewhere: string;
beforeAll(() => {
  work = makeWorkspace();
  elsewhere = mkdtempSync('/tmp/quern-elsewhere-');
  openEngine();
});
afterAll(() => {
  work.remove();
  rmSync(elsewhere, { recursive: true, force: true });
});

/** The socket of the tests' engine lies in a folder that only root may enter. */
function openEngine(): void {
  const socket = process.env['DOCKER_HOST']?.replace(/^unix:\/\//u, '');
  if (socket !== undefined) chmodSync(dirname(socket), 0o711);
}

function engineGroup(): number {
  const socket = process.env['DOCKER_HOST']?.replace(/^unix:\/\//u, '') ?? '/var/run/docker.sock';
  return statSync(socket).gid;
}

/** Runs a shell command as the stranger, who may use the engine and owns `elsewhere`. */
function asStranger(
  command: string,
  env: Readonly<Record<string, string | undefined>>,
): ReturnType<typeof spawnSync> {
  spawnSync('chown', ['-R', `${stranger}:${stranger}`, elsewhere]);
  return spawnSync(
    // by its path: the PATH of the stranger may not have it
    '/usr/bin/setpriv',
    [`--reuid=${stranger}`, `--regid=${stranger}`, `--groups=${engineGroup()}`, 'sh', '-c', command],
    {
      cwd: elsewhere,
      env: { DOCKER_HOST: process.env['DOCKER_HOST'], HOME: elsewhere, TMPDIR: '/tmp', ...env },
      encoding: 'utf8',
      maxBuffer: 256 * 1024 * 1024,
    },
  );
}

const sums = (folder: string): string => readFileSync(join(folder, 'SHA256SUMS'), 'utf8');

it('a first build, by Quern as it is', () => {
  expect(work.quern(['pin', work.spec]).status).toBe(0);
  const ran = work.quern(['build', work.spec, '-o', 'out', '--jobs', '2']);
  expect(ran.stderr).not.toContain('error[');
  expect(ran.status).toBe(0);
});

it('Quern elsewhere, as another user, with another umask, time zone, locale and one compiler', () => {
  const folder = join(elsewhere, 'a folder with blanks');
  mkdirSync(folder);
  for (const name of ['gauge-station.yaml', 'gauge-station.lock.json', 'serial-console.config', 'patches']) {
    cpSync(work.path(name), join(folder, name), { recursive: true });
  }
  const ran = asStranger(
    `umask 077; cd 'a folder with blanks' && '${process.execPath}' '${builtCli()}' build gauge-station.yaml -o out --jobs 1`,
    { PATH: process.env['PATH'], TZ: 'Asia/Tokyo', LANG: 'tr_TR.UTF-8', LC_ALL: 'tr_TR.UTF-8' },
  );
  expect(ran.stderr).not.toContain('error[');
  expect(ran.status).toBe(0);
  expect(sums(join(folder, 'out'))).toBe(sums(work.path('out')));
  expect(work.quern(['verify', join(folder, 'out')]).status).toBe(0);
});

it('the kit by hand, by another user, without Node, Quern, apt, dpkg or ar', () => {
  const bin = join(elsewhere, 'bin');
  mkdirSync(bin);
  // POSIX utilities, and the tools that the README names
  const tools =
    'awk cat cp curl cut date dirname docker echo find getconf grep gzip head ln ls mkdir mktemp mv printf rm rmdir sed sh sha256sum tail tar tr xz';
  for (const tool of tools.split(' ')) {
    const found = spawnSync('sh', ['-c', `command -v ${tool}`], { encoding: 'utf8' }).stdout.trim();
    if (found.startsWith('/')) symlinkSync(found, join(bin, tool));
  }
  cpSync(work.path('out', 'kit'), join(elsewhere, 'kit'), { recursive: true });
  // another environment than the one that is there: it is made from the packages
  spawnSync('sh', ['-c', 'docker rmi -f $(docker images -q quern-environment)']);
  const ran = asStranger('umask 027; sh kit/run.sh -j 3', {
    PATH: bin,
    TZ: 'America/St_Johns',
    LANG: 'de_DE.UTF-8',
  });
  expect(ran.stderr).toBe('');
  expect(ran.status).toBe(0);
  expect(sums(join(elsewhere, 'kit', 'out'))).toBe(sums(work.path('out')));
  chownSync(elsewhere, 0, 0);
});
