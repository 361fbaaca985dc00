import { spawn, type ChildProcess, type SpawnOptions } from 'node:child_process';
import { stat } from 'node:fs/promises';
import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { wordsOf } from '../diagnostics/system-words.ts';
import { lineSplitter } from './line-splitter.ts';
import { outputTail, type OutputTail } from './output-tail.ts';
import { processCodes } from './process-codes.ts';
import { kill, stopper, type Program, type StopOptions } from './stop-program.ts';

export type OutputStream = 'stdout' | 'stderr';

export interface RunOptions extends StopOptions {
  readonly cwd?: string;
  /** The whole environment of the program; that of this process when absent. */
  readonly env?: Readonly<Record<string, string | undefined>>;
  /** What the program reads from its standard input; end of file at once when absent. */
  readonly input?: string | Uint8Array | AsyncIterable<Uint8Array>;
  /** Hands this process's own terminal over, in and out, so that a person can type; nothing is fed or captured. */
  readonly terminal?: boolean;
  /** Called with each line as it comes, printable and without its line break. */
  readonly onLine?: (stream: OutputStream, line: string) => void;
  /** Called with what is written, as it comes. */
  readonly onChunk?: (stream: OutputStream, chunk: Uint8Array) => void;
  /** When aborted, the program is asked to stop, then killed, and `run` rejects with the signal's reason. */
  readonly signal?: AbortSignal;
  /**
   * Gives the program a process group of its own: Ctrl-C on the terminal does not reach it except through `signal`,
   * and whatever it started is stopped with it.
   */
  readonly ownGroup?: boolean;
  /** How much of the end of each stream is kept, in UTF-16 code units. */
  readonly capture?: number;
  /** What to do when the program is not installed. */
  readonly missingHelp?: string;
}

export interface RunResult {
  /** The exit status, or `null` when a signal ended the program. */
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly stdout: string;
  readonly stderr: string;
  /** Some of the output was longer than `capture`: its beginning is missing. */
  readonly truncated: boolean;
}

const defaultCapture = 8 * 1024 * 1024;
const running = new Set<Program>();

/** Kills every program that `run` has started and that still runs. For the moment before the process itself ends. */
export function killRunning(): void {
  for (const program of running) kill(program, 'SIGKILL');
}

/**
 * Runs a program to its end, never through a shell.
 *
 * @throws Failure `host/program-missing`, `host/program-not-started`, `host/folder-missing`
 * @throws the reason of `options.signal` when that is aborted; the program has ended by then
 */
export async function run(
  command: string,
  args: readonly string[],
  options: RunOptions = {},
): Promise<RunResult> {
  options.signal?.throwIfAborted();
  const child = await spawned(command, args, options);
  const program: Program = { child, ownGroup: options.ownGroup ?? false };
  running.add(program);
  try {
    return await finished(program, options);
  } finally {
    running.delete(program);
  }
}

/**
 * What a program makes of bytes that it is given on its standard input, in pieces as they come, never through a shell.
 * Who stops reading stops the program. A Ctrl-C on the terminal does not reach it.
 *
 * @throws Failure as `run` does, before any of `input` is read
 * @throws Error with what the program says when it ends with anything but 0
 * @throws whatever `input` throws
 */
export async function* filtered(
  command: string,
  args: readonly string[],
  input: AsyncIterable<Uint8Array>,
  env: NonNullable<RunOptions['env']> = process.env,
): AsyncGenerator<Uint8Array, void> {
  const options: RunOptions = { input, env, ownGroup: true };
  const child = await spawned(command, args, options);
  const program: Program = { child, ownGroup: true };
  running.add(program);
  let broken: { readonly reason: unknown } | undefined;
  const stop = (reason: unknown): void => {
    broken ??= { reason };
    kill(program, 'SIGKILL');
  };
  try {
    const said = outputTail(defaultCapture);
    follow(child, 'stderr', said, {}, stop);
    const ended = closed(child);
    feed(child, input).catch(stop);
    for await (const chunk of child.stdout ?? []) yield chunk as Uint8Array;
    const [code, endedBy] = await ended;
    if (broken) throw broken.reason;
    if (code === 0) return;
    const how = endedBy === null ? `ended with ${code}` : `was ended by ${endedBy}`;
    throw new Error(said.text().trim() || `${command} ${how}`);
  } finally {
    kill(program, 'SIGKILL');
    running.delete(program);
  }
}

function spawnOptions({ cwd, env, terminal = false, ownGroup = false }: RunOptions): SpawnOptions {
  return {
    shell: false,
    detached: ownGroup,
    stdio: terminal ? 'inherit' : 'pipe',
    ...(cwd !== undefined && { cwd }),
    ...(env && { env: { ...env } }),
  };
}

function spawned(command: string, args: readonly string[], options: RunOptions): Promise<ChildProcess> {
  return new Promise((resolve, reject) => {
    const fail = (error: unknown): void => {
      explain(error, command, options).then(reject, reject);
    };
    try {
      const child = spawn(command, args, spawnOptions(options));
      child.once('spawn', () => resolve(child));
      child.on('error', fail);
    } catch (error) {
      // Some refusals of the system (E2BIG: too many arguments) are thrown, others are told as an event.
      fail(error);
    }
  });
}

/** Node says ENOENT for a missing program as for a missing folder, so the folder is looked at. */
async function explain(error: unknown, command: string, { cwd, missingHelp }: RunOptions): Promise<unknown> {
  if (!(error instanceof Error && 'syscall' in error)) return error;
  const program = quoted(command);
  if (cwd !== undefined && !(await isFolder(cwd))) {
    const diagnostic = processCodes.report('host/folder-missing', {
      message: `${program} was to run in ${quoted(cwd)}, which is no folder`,
      help: 'Make the folder, or name another one.',
    });
    return new Failure(diagnostic, { cause: error });
  }
  if ('code' in error && error.code === 'ENOENT') {
    const diagnostic = processCodes.report('host/program-missing', {
      message: `the program ${program} is not there`,
      help: missingHelp ?? `Install ${program}, or put the folder that holds it into PATH.`,
    });
    return new Failure(diagnostic, { cause: error });
  }
  const diagnostic = processCodes.report('host/program-not-started', {
    message: `the system does not start ${program}: ${wordsOf(error)}`,
    help: 'See that the file may be executed, and that it was made for this machine.',
  });
  return new Failure(diagnostic, { cause: error });
}

async function isFolder(path: string): Promise<boolean> {
  try {
    return (await stat(path)).isDirectory();
  } catch {
    return false;
  }
}

async function finished(program: Program, options: RunOptions): Promise<RunResult> {
  const { child } = program;
  const { signal, capture = defaultCapture } = options;
  const stop = stopper(program, options);
  const onAbort = (): void => stop.begin(signal?.reason);
  signal?.addEventListener('abort', onAbort, { once: true });
  if (signal?.aborted) onAbort();
  try {
    const stdout = outputTail(capture);
    const stderr = outputTail(capture);
    follow(child, 'stdout', stdout, options, stop.begin);
    follow(child, 'stderr', stderr, options, stop.begin);
    feed(child, options.input).catch(stop.begin);
    const [code, endedBy] = await closed(child);
    const stopped = stop.begun();
    if (stopped) throw stopped.reason;
    return {
      code,
      signal: endedBy,
      stdout: stdout.text(),
      stderr: stderr.text(),
      truncated: stdout.truncated() || stderr.truncated(),
    };
  } finally {
    signal?.removeEventListener('abort', onAbort);
    stop.dispose();
  }
}

function closed(child: ChildProcess): Promise<[number | null, NodeJS.Signals | null]> {
  return new Promise((resolve) => {
    child.once('close', (code, signal) => resolve([code, signal]));
  });
}

/** Captures one stream and tells its lines; an error that is thrown by whom it tells them stops the program. */
function follow(
  child: ChildProcess,
  name: OutputStream,
  captured: OutputTail,
  { onLine, onChunk }: RunOptions,
  stop: (reason: unknown) => void,
): void {
  const stream = child[name];
  if (!stream) return;
  const decoder = new TextDecoder();
  const lines = onLine && lineSplitter((line) => onLine(name, line));
  const guarded = (work: () => void): void => {
    try {
      work();
    } catch (error) {
      stop(error);
    }
  };
  stream.on('data', (chunk: Uint8Array) => {
    guarded(() => captured.push(decoder.decode(chunk, { stream: true })));
    if (onChunk) guarded(() => onChunk(name, chunk));
    if (lines) guarded(() => lines.push(chunk));
  });
  stream.on('end', () => {
    captured.push(decoder.decode());
    if (lines) guarded(() => lines.end());
  });
}

/** A program need not read all that it is given: a pipe that it has closed is no error. */
async function feed(child: ChildProcess, input: RunOptions['input']): Promise<void> {
  if (!child.stdin) return;
  const pieces = typeof input === 'string' || input instanceof Uint8Array ? [input] : (input ?? []);
  try {
    await pipeline(Readable.from(pieces), child.stdin);
  } catch (error) {
    const code = error instanceof Error && 'code' in error ? error.code : undefined;
    if (code !== 'EPIPE' && code !== 'ERR_STREAM_PREMATURE_CLOSE') throw error;
  }
}
