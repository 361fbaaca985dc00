/** What `run.sh` promises around a build: exit codes, its output folder, what it removes and what it leaves alone. */
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, symlinkSync } from 'node:fs';
import { spawn } from 'node:child_process';

import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';

import { sha256 } from './fixture.ts';
import { layArtefacts, layInputs, makeWorkbench, shells, smallShell, type Workbench } from './workbench.ts';

let bench: Workbench;
beforeEach(async () => {
  bench = await makeWorkbench();
  layInputs(bench);
  layArtefacts(bench);
  bench.write('state/image', '');
});
afterEach(() => bench.remove());

const ran = (word: string): readonly (readonly string[])[] =>
  bench.calls().filter(([first]) => first === word);
/** Nothing is left of a run: no folder aside, no scratch, no volume that was not removed. */
const expectTidy = (): void => {
  expect(readdirSync(bench.path('tmp'))).toEqual([]);
  expect(readdirSync(bench.folder).filter((name) => name.includes('.part'))).toEqual([]);
  const volumes = (verb: string): readonly (string | undefined)[] =>
    bench
      .calls()
      .filter(([first, second]) => first === 'volume' && second === verb)
      .map(([, , name]) => name);
  expect(volumes('rm')).toEqual(volumes('create'));
};

describe('the command line', () => {
  it.each([
    ['-j 0', '-j takes a number'],
    ['-j many', "'many'"],
    ['-m 2g', "'2g'"],
    ['-x', '-x'],
    ['-o', '-o needs a value'],
    ['build -o out', "'-o'"],
    ['fetch build', "'build'"],
    ['frobnicate', "'frobnicate'"],
    ['shell', 'shell takes'],
    ['shell other-volume', "'other-volume'"],
    ['shell quern-x:/etc:rw', "'quern-x:/etc:rw'"],
    ['-o . build', "'.'"],
    ['-o a/.. build', "'a/..'"],
    ['-o / build', "'/'"],
    ['-i kit/run.sh build', 'is not a folder'],
    ['-o /proc build', 'mount point|not an empty folder'],
  ])('%s: 2, naming what is wrong', async (words, named) => {
    for (const shell of [...shells, smallShell]) {
      const { status, stderr } = await bench.run(words.split(' '), { shell });
      expect(stderr).toMatch(/^run\.sh: /u);
      expect(stderr).toMatch(new RegExp(named, 'u'));
      expect(status).toBe(2);
    }
    expect(ran('run')).toEqual([]);
    expectTidy();
  });
});

describe('a build', () => {
  it.each(['out', 'out/', './out//', 'a/b/out', 'a b/out', '-out'])(
    'leaves what came out in -o %s',
    async (given) => {
      for (const shell of shells) {
        const ended = await bench.run(['-o', given, 'build'], { shell });
        expect(ended.stderr).toBe('');
        expect(ended.status).toBe(0);
        const out = bench.path(given);
        expect(readdirSync(out).sort()).toEqual(['SHA256SUMS', 'bzImage', 'isolation', 'make.log.gz']);
        expectTidy();
        // again, into what is there: refused before anything runs
        const before = ran('run').length;
        expect((await bench.run(['-o', given, 'build'], { shell })).status).toBe(2);
        expect(ran('run')).toHaveLength(before);
        for (const name of readdirSync(out)) expect(existsSync(`${out}/${name}`)).toBe(true);
        rmSync(out, { recursive: true });
      }
    },
  );

  it('is shut in, and never fetches an image', async () => {
    await bench.run(['-o', 'out', '-j', '3', '-m', '123456789', 'build']);
    expect(ran('run')).toHaveLength(3);
    for (const call of ran('run')) {
      const line = call.join(' ');
      expect(line).toContain('--pull never --network none --cap-drop ALL --security-opt no-new-privileges');
      expect(line).toContain('--user 1000:1000 --read-only');
      expect(line).toContain('--memory 123456789');
    }
    expect(ran('run')[1]).toContain('JOBS=3');
  });

  it('replaces an empty folder, and follows no link', async () => {
    mkdirSync(bench.path('empty'));
    mkdirSync(bench.path('elsewhere'));
    symlinkSync('elsewhere', bench.path('link'));
    expect((await bench.run(['-o', 'empty', 'build'])).status).toBe(0);
    const refused = await bench.run(['-o', 'link', 'build']);
    expect(refused.stderr).toContain('is a symbolic link');
    expect(refused.status).toBe(2);
    expect(readdirSync(bench.path('elsewhere'))).toEqual([]);
  });

  it('says at once that it cannot write there', async () => {
    // not even root may make a folder in here
    const { status, stderr } = await bench.run(['-o', '/proc/out', 'build']);
    expect(stderr).toContain('nothing can be written beside /proc/out');
    expect(status).toBe(3);
    expect(bench.calls()).toEqual([]);
  });

  it('does not keep its inputs in its output', async () => {
    mkdirSync(bench.path('out'));
    const { status, stderr } = await bench.run(['-o', 'out', '-i', 'out/inputs']);
    expect(stderr).toContain('cannot be kept in the output folder');
    expect(status).toBe(2);
  });

  it.each([1, 3, 4])('ends with %i when the script inside does, and leaves its log', async (code) => {
    bench.write('state/status', String(code));
    const { status, stderr } = await bench.run(['-o', 'out/', 'build']);
    expect(status).toBe(code);
    expect(stderr).toContain(`the whole log: ${bench.path('out.failed/make.log.gz')}`);
    expect(readdirSync(bench.path('out.failed')).sort()).toEqual(['isolation', 'make.log.gz']);
    expect(existsSync(bench.path('out'))).toBe(false);
    expectTidy();
  });

  it.each([
    [2, 'the engine ended with 2'],
    [125, 'the engine ended with 125'],
    [137, 'most likely it ran out of memory'],
  ])('ends with 3 when the engine ends with %i', async (code, words) => {
    bench.write('state/status', String(code));
    const { status, stderr } = await bench.run(['-o', 'out', 'build']);
    expect(stderr).toContain(words);
    expect(status).toBe(3);
  });

  it('replaces what an earlier failure left, and nothing else', async () => {
    bench.write('state/status', '1');
    mkdirSync(bench.path('out.failed'));
    bench.write('out.failed/make.log.gz', 'earlier');
    await bench.run(['-o', 'out', 'build']);
    expect(readFileSync(bench.path('out.failed/make.log.gz'), 'utf8')).toBe('log');
    bench.write('out.failed/notes.txt', 'mine');
    const { stderr } = await bench.run(['-o', 'out', 'build']);
    expect(stderr).toContain(bench.path('out.failed.2/make.log.gz'));
    expect(readFileSync(bench.path('out.failed/notes.txt'), 'utf8')).toBe('mine');
    expect(readdirSync(bench.path('out.failed.2')).sort()).toEqual(['isolation', 'make.log.gz']);
  });

  it('leaves what others have beside its output', async () => {
    mkdirSync(bench.path('out.part'));
    bench.write('out.part/x', 'mine');
    bench.write('kit/inputs/x.part', 'mine');
    await bench.run(['-o', 'out', 'build']);
    expect(readFileSync(bench.path('out.part/x'), 'utf8')).toBe('mine');
    expect(readFileSync(bench.path('kit/inputs/x.part'), 'utf8')).toBe('mine');
  });

  it.each([
    ['was altered', (): void => bench.write('state/out/SHA256SUMS', `${sha256('other')}  bzImage\n`), 3],
    ['no SHA256SUMS', (): void => bench.write('state/out/SHA256SUMS', ''), 3],
    ['not beside it', (): void => bench.write('state/out/SHA256SUMS', `${sha256('x')}  ../../x\n`), 4],
    ['not a plain file', (): void => symlinkSync('/etc/passwd', bench.path('state/out/System.map')), 4],
  ])('gives out nothing that %s', async (words, spoil, code) => {
    spoil();
    const { status, stderr } = await bench.run(['-o', 'out', 'build']);
    expect(stderr).toContain(words);
    expect(status).toBe(code);
    expect(existsSync(bench.path('out'))).toBe(false);
    expectTidy();
  });

  it('takes no input that is not the pinned one', async () => {
    bench.write('kit/inputs/gcc_12.2.0-3+b1_amd64.deb', 'gcx');
    const { status, stderr } = await bench.run(['-o', 'out', 'build']);
    expect(stderr).toContain('missing, or not what was pinned: gcc_12.2.0-3+b1_amd64.deb');
    expect(status).toBe(4);
    expectTidy();
  });

  it('turns the death of a command into 3, with a sentence', async () => {
    bench.program('date', '#!/bin/sh\nexit 1\n');
    const { status, stderr } = await bench.run(['-o', 'out', 'build']);
    expect(stderr).toMatch(/^run\.sh: a command that must not fail has failed \(1\)$/mu);
    expect(status).toBe(3);
    expectTidy();
  });
});

describe('the engine', () => {
  it('must run what the packages are made for', async () => {
    bench.write('state/arch', 'arm64\n');
    const { status, stderr } = await bench.run(['-o', 'out', 'build']);
    expect(stderr).toContain('the engine runs arm64 and the packages of this kit are for amd64');
    expect(status).toBe(3);
  });

  it.each(['', '<no value>\n', 'Error: no such field\n', 'x86_64\n'])(
    'may not know the question: %j',
    async (said) => {
      bench.write('state/arch', said);
      expect((await bench.run(['-o', 'out', 'build'])).status).toBe(0);
    },
  );

  it('gives a shell in a build folder that is there', async () => {
    expect((await bench.run(['shell', 'quern-gone'])).stderr).toContain(
      'there is no build folder quern-gone',
    );
    bench.write('state/volume', '');
    expect((await bench.run(['shell', 'quern-kept'])).status).toBe(0);
    expect(ran('run')[0]?.join(' ')).toContain('--volume quern-kept:/build');
  });
});

it('removes a build folder that a container, which is being removed itself, still holds for a moment', async () => {
  for (const shell of shells) {
    mkdirSync(bench.path('state/busy'), { recursive: true });
    for (const name of ['one', 'two']) bench.write(`state/busy/${name}`, '');
    expect((await bench.run(['-o', 'out', 'build'], { shell })).status).toBe(0);
    expect(existsSync(bench.path('state/removed'))).toBe(true);
    rmSync(bench.path('state/removed'));
    rmSync(bench.path('out'), { recursive: true });
  }
});

it.each(['SIGINT', 'SIGTERM', 'SIGHUP'] as const)('cleans up after %s, and ends with 130', async (signal) => {
  for (const [program = '', ...words] of shells) {
    bench.write('state/wait', '');
    // nobody who interrupts waits until the build folder is removed
    bench.write('state/held', '');
    const child = spawn(program, [...words, bench.path('kit/run.sh'), '-o', 'out', 'build'], {
      cwd: bench.folder,
      env: { PATH: `${bench.path('bin')}:${process.env['PATH'] ?? ''}`, TMPDIR: bench.path('tmp') },
      stdio: 'ignore',
      detached: true,
    });
    // as whoever has started it may do: what is left of its group is killed
    child.on('exit', () => {
      try {
        process.kill(-(child.pid ?? 0), 'SIGKILL');
      } catch {
        // nobody is left
      }
    });
    const ended = new Promise<number | null>((resolve) => child.on('close', resolve));
    const pid = bench.path('state/pid');
    while (!existsSync(pid) || readFileSync(pid, 'utf8') === '')
      await new Promise((next) => setTimeout(next, 20));
    const inner = Number(readFileSync(pid, 'utf8'));
    child.kill(signal);
    expect(await ended).toBe(130);
    // the signal has reached the engine's client itself
    expect(() => process.kill(inner, 0)).toThrow('ESRCH');
    expectTidy();
    expect(existsSync(bench.path('state/removed'))).toBe(false);
    rmSync(bench.path('state/held'));
    await vi.waitFor(() => expect(existsSync(bench.path('state/removed'))).toBe(true));
    rmSync(bench.path('state/removed'));
    expect(existsSync(bench.path('out'))).toBe(false);
    rmSync(pid);
  }
});
