import { chmod, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';

import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { filtered, killRunning, run, type RunOptions } from '../../src/host/processes.ts';

const node = process.execPath;
/** Runs a line of shell, which is the shortest way to say what a program does. */
const shell = (script: string, options: RunOptions = {}): ReturnType<typeof run> =>
  run('sh', ['-c', script], options);

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'quern-processes-'));
});
afterAll(() => rm(folder, { recursive: true, force: true }));

async function failureOf(work: Promise<unknown>): Promise<Failure> {
  const error: unknown = await work.then(
    () => undefined,
    (reason: unknown) => reason,
  );
  if (error instanceof Failure) return error;
  throw new Error('no Failure', { cause: error });
}

/** Waits for a file that a child writes once it is ready, and returns what is in it. */
async function awaitFile(path: string): Promise<string> {
  for (let tries = 0; tries < 500; tries += 1) {
    const text = await readFile(path, 'utf8').catch(() => '');
    if (text.endsWith('\n')) return text.trim();
    await sleep(20);
  }
  throw new Error(`${path} never came`);
}

/** A process that has ended but was not waited for still has its number, so its state is looked at. */
async function isAlive(pid: string): Promise<boolean> {
  const status = await readFile(`/proc/${pid}/stat`, 'utf8').catch(() => '');
  return status !== '' && !/\) [ZX] /u.test(status);
}

async function awaitDeath(pid: string): Promise<boolean> {
  for (let tries = 0; tries < 250; tries += 1) {
    if (!(await isAlive(pid))) return true;
    await sleep(20);
  }
  return false;
}

describe('what a program says', () => {
  it('is captured, each stream apart, with the exit status', async () => {
    expect(await shell('echo out; echo err >&2; exit 3')).toEqual({
      code: 3,
      signal: null,
      stdout: 'out\n',
      stderr: 'err\n',
      truncated: false,
    });
  });

  it('tells the signal that ended it', async () => {
    expect(await shell('kill -KILL $$')).toMatchObject({ code: null, signal: 'SIGKILL' });
  });

  it('keeps the end when there is too much', async () => {
    const result = await shell('i=0; while [ $i -lt 1000 ]; do echo line $i; i=$((i+1)); done', {
      capture: 16,
    });
    expect(result).toMatchObject({ truncated: true, stdout: 'ine 998\nline 999\n'.slice(-16) });
  });

  it('comes as printable lines, each stream apart', async () => {
    const lines: string[] = [];
    await shell(
      String.raw`printf 'one\r\ntwo \033[31mred\033[0m \033]0;title\007\nthree'; printf 'err\n' >&2`,
      {
        onLine: (stream, line) => lines.push(`${stream}|${line}`),
      },
    );
    expect(lines.filter((line) => line.startsWith('stdout'))).toEqual([
      'stdout|one',
      String.raw`stdout|two red \x1b]0;title\x07`,
      'stdout|three',
    ]);
    expect(lines).toContain('stderr|err');
  });
});

describe('what a program is given', () => {
  it('arguments as they are: no shell looks at them', async () => {
    const args = ['$(touch pwned)', '`id`', '; exit 9', "it's", '*', 'a\nb', ''];
    const { stdout } = await run(
      node,
      ['-e', 'console.log(JSON.stringify(process.argv.slice(1)))', '--', ...args],
      {
        cwd: folder,
      },
    );
    expect(JSON.parse(stdout)).toEqual(args);
  });

  it('the environment that is passed, and nothing of ours', async () => {
    const { stdout } = await run(node, ['-p', 'JSON.stringify(process.env)'], {
      env: { GAUGE: '7', EMPTY: undefined },
    });
    expect(JSON.parse(stdout)).toEqual({ GAUGE: '7' });
  });

  it('the folder to run in', async () => {
    expect((await shell('pwd -P', { cwd: folder })).stdout.trim()).toContain('quern-processes-');
  });

  it.each([
    ['text', 'höhe 7\n'],
    ['bytes', new TextEncoder().encode('höhe 7\n')],
  ])('input as %s', async (_, input) => {
    expect((await shell('cat', { input })).stdout).toBe('höhe 7\n');
  });

  it('input as it comes', async () => {
    async function* pieces(): AsyncGenerator<Uint8Array> {
      for (const piece of ['one ', 'two ', 'three']) {
        await sleep(5);
        yield new TextEncoder().encode(piece);
      }
    }
    expect((await shell('cat', { input: pieces() })).stdout).toBe('one two three');
  });

  it('end of file at once when there is no input', async () => {
    expect((await shell('cat; echo done')).stdout).toBe('done\n');
  });

  it('more input than it cares to read, which is its own business', async () => {
    expect(await shell('exit 0', { input: 'x'.repeat(4_000_000) })).toMatchObject({ code: 0 });
  });

  it('no input after all when its source fails: the program is stopped and the error told', async () => {
    // eslint-disable-next-line require-yield -- a source that fails before its first piece
    async function* broken(): AsyncGenerator<Uint8Array> {
      await sleep(1);
      throw new Error('the source broke');
    }
    await expect(shell('cat; sleep 60', { input: broken() })).rejects.toThrow('the source broke');
  });
});

describe('what a program makes of what it is given', () => {
  async function* pieces(...texts: readonly string[]): AsyncGenerator<Uint8Array> {
    for (const text of texts) {
      await sleep(1);
      yield new TextEncoder().encode(text);
    }
  }

  async function whole(made: AsyncIterable<Uint8Array>): Promise<string> {
    const chunks: Uint8Array[] = [];
    for await (const chunk of made) chunks.push(chunk);
    return Buffer.concat(chunks).toString();
  }

  it('comes in pieces', async () => {
    expect(await whole(filtered('tr', ['a-z', 'A-Z'], pieces('low ', 'water')))).toBe('LOW WATER');
  });

  it('is more than any pipe holds', async () => {
    const input = pieces(...Array.from({ length: 64 }, () => 'x'.repeat(100_000)));
    expect(await whole(filtered('cat', [], input))).toHaveLength(6_400_000);
  });

  it('may be nothing', async () => {
    expect(await whole(filtered('true', [], pieces('unread'.repeat(100_000))))).toBe('');
  });

  it.each([
    ['in its words', 'echo "the gauge is dry" >&2; exit 3', 'the gauge is dry'],
    ['by its status', 'exit 3', 'sh ended with 3'],
    ['by the signal that ended it', 'kill -TERM $$', 'sh was ended by SIGTERM'],
  ])('is not all there: that is told %s, after what there was', async (_, script, message) => {
    const made = filtered('sh', ['-c', `echo level; ${script}`], pieces('x'));
    const first = await made.next();
    expect(Buffer.from(first.value ?? '').toString()).toBe('level\n');
    await expect(whole(made)).rejects.toThrow(message);
  });

  it('ends when its source fails, and the error is told', async () => {
    async function* broken(): AsyncGenerator<Uint8Array> {
      yield* pieces('x');
      throw new Error('the source broke');
    }
    await expect(whole(filtered('sh', ['-c', 'cat; sleep 60'], broken()))).rejects.toThrow(
      'the source broke',
    );
  });

  it('is not wanted any more: the program ends, and its source is left', async () => {
    let left = false;
    async function* endless(): AsyncGenerator<Uint8Array> {
      try {
        for (;;) yield* pieces('x'.repeat(1000));
      } finally {
        left = true;
      }
    }
    const ready = join(folder, 'filter');
    const script = `(sleep 60) & echo $! > ${ready}; cat`;
    for await (const chunk of filtered('sh', ['-c', script], endless())) {
      expect(chunk.length).toBeGreaterThan(0);
      break;
    }
    expect(await awaitDeath(await awaitFile(ready))).toBe(true);
    for (let tries = 0; tries < 250 && !left; tries += 1) await sleep(20);
    expect(left).toBe(true);
  });

  it('cannot be had without the program, and nothing is read then', async () => {
    let isRead = false;
    async function* once(): AsyncGenerator<Uint8Array> {
      isRead = true;
      yield* pieces('x');
    }
    const { diagnostics } = await failureOf(whole(filtered('quern-no-such-filter', [], once())));
    expect(diagnostics.map(({ code }) => code)).toEqual(['host/program-missing']);
    expect(isRead).toBe(false);
  });
});

describe('a program that cannot be started', () => {
  it('is not installed', async () => {
    const { diagnostics } = await failureOf(run('no-such-program-here', []));
    expect(diagnostics).toMatchObject([
      {
        code: 'host/program-missing',
        exit: 3,
        message: 'the program `no-such-program-here` is not there',
        help: expect.stringContaining('PATH'),
      },
    ]);
  });

  it('says what the caller knows about installing it', async () => {
    const { diagnostics } = await failureOf(
      run('no-such-program-here', [], { missingHelp: 'Install an engine.' }),
    );
    expect(diagnostics[0]?.help).toBe('Install an engine.');
  });

  it('may not be executed', async () => {
    const file = join(folder, 'plain-file');
    await writeFile(file, 'x');
    await chmod(file, 0o644);
    const failure = await failureOf(run(file, []));
    expect(failure.diagnostics).toMatchObject([{ code: 'host/program-not-started', exit: 3 }]);
    expect(failure.cause).toBeInstanceOf(Error);
  });

  it('is given more arguments than the system takes', async () => {
    const { diagnostics } = await failureOf(run('true', ['x'.repeat(3_000_000)]));
    expect(diagnostics).toMatchObject([{ code: 'host/program-not-started' }]);
  });

  it('is to run in a folder that is not there', async () => {
    const { diagnostics } = await failureOf(run('true', [], { cwd: join(folder, 'absent') }));
    expect(diagnostics).toMatchObject([{ code: 'host/folder-missing', exit: 3 }]);
  });
});

describe('stopping', () => {
  const reason = new Error('enough');

  it('does not begin what is cancelled already', async () => {
    const marker = join(folder, 'never');
    await expect(shell(`echo > ${marker}`, { signal: AbortSignal.abort(reason) })).rejects.toBe(reason);
    await expect(readFile(marker)).rejects.toThrow('ENOENT');
  });

  it.each(['SIGINT', 'SIGTERM'] as const)(
    'asks with %s, waits, and rejects with the reason',
    async (stopWith) => {
      const ready = join(folder, `ready-${stopWith}`);
      const asked = join(folder, `asked-${stopWith}`);
      const controller = new AbortController();
      const script =
        `process.on('${stopWith}', () => { fs.writeFileSync('${asked}', 'cleaned up\\n'); process.exit(0); });` +
        `fs.writeFileSync('${ready}', 'x\\n'); setInterval(() => {}, 1000);`;
      const work = run(node, ['-e', script], { signal: controller.signal, stopWith });
      await awaitFile(ready);
      controller.abort(reason);
      await expect(work).rejects.toBe(reason);
      expect(await readFile(asked, 'utf8')).toBe('cleaned up\n');
    },
  );

  it('kills what does not listen', async () => {
    const ready = join(folder, 'ready-deaf');
    const controller = new AbortController();
    const work = shell(`trap '' TERM; echo $$ > ${ready}; while :; do sleep 0.05; done`, {
      signal: controller.signal,
      grace: 100,
    });
    const pid = await awaitFile(ready);
    controller.abort(reason);
    await expect(work).rejects.toBe(reason);
    expect(await isAlive(pid)).toBe(false);
  });

  it('does not wait for what the program left behind', async () => {
    const ready = join(folder, 'ready-orphan');
    const controller = new AbortController();
    const work = shell(`sleep 30 & echo $! > ${ready}; wait`, { signal: controller.signal });
    const orphan = await awaitFile(ready);
    controller.abort(reason);
    await expect(work).rejects.toBe(reason);
    expect(await isAlive(orphan)).toBe(true);
    process.kill(Number(orphan), 'SIGKILL');
  });

  it('takes the whole group when the program has one', async () => {
    const ready = join(folder, 'ready-group');
    const controller = new AbortController();
    const work = shell(`(trap '' TERM INT; sleep 30) & echo $! > ${ready}; wait`, {
      signal: controller.signal,
      ownGroup: true,
    });
    const grandchild = await awaitFile(ready);
    controller.abort(reason);
    await expect(work).rejects.toBe(reason);
    expect(await awaitDeath(grandchild)).toBe(true);
  });

  it('happens when a reader of lines throws', async () => {
    const onLine = (): never => {
      throw reason;
    };
    await expect(shell('echo line; sleep 60', { onLine })).rejects.toBe(reason);
  });

  it('kills all that runs at once when the process itself must end', async () => {
    const ready = join(folder, 'ready-hard');
    const work = shell(`trap '' TERM INT HUP; echo $$ > ${ready}; while :; do sleep 0.05; done`, {
      ownGroup: true,
    });
    await awaitFile(ready);
    killRunning();
    expect(await work).toMatchObject({ signal: 'SIGKILL' });
  });
});
