import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';

import { afterAll, describe, expect, it } from 'vitest';

const script = join(import.meta.dirname, 'engine.sh');
const root = mkdtempSync('/tmp/quern-engine-test-');
const started = ['one', 'left', 'right'].map((name) => join(root, name));
afterAll(() => {
  for (const folder of started) engine('stop', folder);
  rmSync(root, { recursive: true, force: true });
});

interface Answer {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

function engine(verb: string, folder: string, env: Record<string, string> = {}): Answer {
  const options = { encoding: 'utf8', env: { ...process.env, ...env } } as const;
  const { status, stdout, stderr } = spawnSync('/bin/sh', [script, verb, folder], options);
  return { status, stdout, stderr };
}

/** Command lines of the processes that have this among their words. */
function processesWith(some: string): string[] {
  return readdirSync('/proc')
    .filter((name) => /^[0-9]+$/u.test(name) && name !== String(process.pid))
    .map((pid) => {
      try {
        return readFileSync(`/proc/${pid}/cmdline`, 'utf8').replaceAll('\0', ' ');
      } catch {
        return '';
      }
    })
    .filter((words) => words.includes(some));
}

function mountsOf(folder: string): string[] {
  return readFileSync('/proc/self/mounts', 'utf8')
    .split('\n')
    .filter((line) => line.includes(` ${folder}/`));
}

describe.skipIf(process.getuid?.() !== 0)('an engine of our own', () => {
  it('starts, starts only once, runs a container, and goes without a trace', () => {
    const folder = join(root, 'one');
    const first = engine('start', folder);
    expect(first).toMatchObject({ status: 0, stdout: `unix://${folder}/docker.sock\n`, stderr: '' });
    expect(engine('start', folder)).toEqual(first);
    const docker = (...args: string[]): string =>
      execFileSync('docker', ['-H', first.stdout.trim(), ...args], { encoding: 'utf8' });

    const image = join(root, 'image');
    mkdirSync(join(image, 'bin'), { recursive: true });
    execFileSync('cp', [
      execFileSync('which', ['busybox'], { encoding: 'utf8' }).trim(),
      join(image, 'bin/busybox'),
    ]);
    execFileSync('tar', ['-C', image, '-cf', join(root, 'image.tar'), '.']);
    docker('import', join(root, 'image.tar'), 'otter:1');
    expect(docker('run', '--rm', '--network', 'none', 'otter:1', '/bin/busybox', 'echo', 'high water')).toBe(
      'high water\n',
    );
    docker('run', '--detach', '--network', 'none', 'otter:1', '/bin/busybox', 'sleep', '6007');
    expect(processesWith(`${folder}/`).filter((words) => words.includes('containerd-shim'))).toHaveLength(1);

    // An engine that is killed leaves its containers behind, which is the worst that stop has to deal with.
    execFileSync('kill', ['-KILL', readFileSync(join(folder, 'pid'), 'utf8')]);
    expect(engine('stop', folder)).toMatchObject({ status: 0, stderr: '' });
    expect(processesWith('busybox sleep 6007')).toEqual([]);
    expect(processesWith(`${folder}/`)).toEqual([]);
    expect(mountsOf(folder)).toEqual([]);
    expect(readdirSync(folder).toSorted()).toEqual(['data', 'data.lock', 'log']);
  });

  it('keeps images in the folder it is given, unless another engine uses that', () => {
    const data = join(root, 'shared');
    const left = join(root, 'left');
    const right = join(root, 'right');
    expect(engine('start', left, { QUERN_ENGINE_DATA: data })).toMatchObject({ status: 0 });
    expect(engine('start', right, { QUERN_ENGINE_DATA: data })).toMatchObject({ status: 0 });
    expect(readdirSync(data)).toContain('image');
    expect(existsSync(join(left, 'data'))).toBe(false);
    expect(readdirSync(join(right, 'data'))).toContain('image');
    engine('stop', left);
    engine('stop', right);
    expect([left, right, data].flatMap(processesWith)).toEqual([]);
  });
});

describe('an engine that cannot be', () => {
  it.each<[string, string, Record<string, string>, string]>([
    [
      'its path is too long',
      join(root, 'x'.repeat(80)),
      {},
      'the path of the folder is too long for sockets in it',
    ],
    ['it is not installed', join(root, 'none'), { PATH: '/nowhere' }, 'mkdir'],
  ])('%s', (_, folder, env, message) => {
    const { status, stderr } = engine('start', folder, env);
    expect(status).not.toBe(0);
    expect(stderr).toContain(message);
  });

  it('stops where nothing was ever started', () => {
    expect(engine('stop', join(root, 'never'))).toEqual({ status: 0, stdout: '', stderr: '' });
  });

  it('leaves a process alone that only has the number', () => {
    const folder = join(root, 'stale');
    mkdirSync(folder);
    execFileSync('sh', ['-c', `echo ${process.pid} > '${folder}/pid'`]);
    expect(engine('stop', folder)).toMatchObject({ status: 0 });
    expect(existsSync(join(folder, 'pid'))).toBe(false);
  });
});
