import { spawnSync } from 'node:child_process';
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterAll, describe, expect, it } from 'vitest';

const script = join(import.meta.dirname, 'install-needs.sh');
const root = mkdtempSync(join(tmpdir(), 'quern-needs-'));
afterAll(() => rmSync(root, { recursive: true, force: true }));

let machines = 0;

interface Machine {
  readonly run: (...programs: string[]) => { status: number | null; stderr: string };
  /** What apt was called with, a line each. */
  readonly calls: () => string[];
}

/** A machine that has these programs, and a few every machine has; each is a line of shell that notes its call. */
function machine(programs: Readonly<Record<string, string>>): Machine {
  machines += 1;
  const folder = join(root, String(machines));
  mkdirSync(folder);
  const log = join(folder, 'calls');
  for (const usual of ['awk', 'cat', 'sh']) symlinkSync(`/usr/bin/${usual}`, join(folder, usual));
  for (const [name, line] of Object.entries(programs)) {
    writeFileSync(join(folder, name), `#!/bin/sh\necho "${name} $*" >>'${log}'\n${line}\n`, { mode: 0o755 });
  }
  return {
    run: (...words) => {
      const { status, stderr } = spawnSync('/bin/sh', [script, ...words], {
        encoding: 'utf8',
        env: { PATH: folder },
      });
      return { status, stderr };
    },
    calls: () => (existsSync(log) ? readFileSync(log, 'utf8').trim().split('\n') : []),
  };
}

const rootId = 'echo 0';

describe('what the tests need', () => {
  it('is left alone when it is there', () => {
    const { run, calls } = machine({ zstd: '', id: rootId, 'apt-get': 'exit 1' });
    expect(run('zstd')).toEqual({ status: 0, stderr: '' });
    expect(calls()).toEqual([]);
  });

  it('is installed when it is missing, after fetching the lists, and nothing else', () => {
    const { run, calls } = machine({ zstd: '', id: rootId, 'apt-get': '', 'apt-cache': '' });
    expect(run('zstd', 'shellcheck', 'xz')).toMatchObject({ status: 0 });
    expect(calls().filter((call) => call.startsWith('apt-get'))).toEqual([
      'apt-get update -qq',
      'apt-get install -qq -y --no-install-recommends shellcheck xz-utils',
    ]);
  });

  it.each([
    ['the release has it', '', 'docker-cli'],
    ['it has not', '[ "$2" != docker-cli ]', 'docker.io'],
  ])('is the client by itself, when %s', (_, aptCache, chosen) => {
    const { run, calls } = machine({ id: rootId, 'apt-get': '', 'apt-cache': aptCache });
    expect(run('docker')).toMatchObject({ status: 0 });
    expect(calls().at(-1)).toBe(`apt-get install -qq -y --no-install-recommends ${chosen}`);
  });

  it('has a busybox that needs no library', () => {
    const dynamic = machine({ id: rootId, 'apt-get': '', 'apt-cache': '', busybox: '', ldd: 'exit 0' });
    expect(dynamic.run('busybox')).toMatchObject({ status: 0 });
    expect(dynamic.calls().at(-1)).toContain('busybox-static');
    const fixed = machine({ id: rootId, 'apt-get': '', busybox: '', ldd: 'exit 1' });
    expect(fixed.run('busybox')).toEqual({ status: 0, stderr: '' });
  });
});

describe('what cannot be installed is named', () => {
  it.each<[string, Record<string, string>, string]>([
    [
      'there is no apt',
      { id: rootId },
      'these programs are missing, and there is no apt to install them: xz zstd',
    ],
    ['we are not root', { id: 'echo 1000', 'apt-get': '' }, 'only root can install them: xz zstd'],
    ['there are no lists', { id: rootId, 'apt-get': '[ $1 != update ]' }, 'apt could not fetch its lists'],
    [
      'apt fails',
      { id: rootId, 'apt-get': '[ $1 = update ]', 'apt-cache': '' },
      'apt could not install xz-utils zstd',
    ],
  ])('%s', (_, programs, message) => {
    const { status, stderr } = machine(programs).run('xz', 'zstd');
    expect(status).toBe(3);
    expect(stderr).toContain(`install-needs.sh: `);
    expect(stderr).toContain(message);
  });

  it('and what is unknown is a mistake of the caller', () => {
    expect(machine({}).run('sluice')).toEqual({
      status: 2,
      stderr: 'install-needs.sh: nothing is known of sluice\n',
    });
  });
});
