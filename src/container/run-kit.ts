import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';

import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, type Diagnostic } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import { run } from '../host/processes.ts';
import { containerCodes } from './codes.ts';
import type { Engine } from './engine.ts';
import { firstError } from './first-error.ts';

export interface KitRun {
  readonly engine: Engine;
  /** Folder of the rendered kit. */
  readonly folder: string;
  /** Folder that holds the inputs under their kit names. */
  readonly inputs: string;
  /** Output folder, new; a failure leaves `OUT.failed` with the log. */
  readonly out: string;
  /** Compilers at once; one per processor when absent. */
  readonly jobs?: number | undefined;
  /** How many files the build will compile, where an earlier one has told. */
  readonly expectedFiles?: number | undefined;
  /** Keep the build folder, whatever comes of it. */
  readonly keep?: boolean | undefined;
}

export interface KitOutcome {
  /** The build folder, where it was kept. */
  readonly volume: string | undefined;
  /** How many files were compiled. */
  readonly files: number;
}

/** A step of a kit failed. */
export class KitFailure extends Failure {
  /** The build folder, where it was kept. */
  readonly volume: string | undefined;

  constructor(diagnostic: Diagnostic, volume: string | undefined) {
    super(diagnostic);
    this.name = 'KitFailure';
    this.volume = volume;
  }
}

/** The engine needs a moment to stop a container and to remove a build folder of gigabytes. */
const stopGrace = 60_000;

/** Of what an engine says at its end. */
const mostLines = 5;

/** A line of make that says a file is being made: two blanks, what is done, the file. */
const makes = /^ {2}(?:CC|AS|HOSTCC|HOSTCXX|LD|AR|CC \[M\]|LD \[M\]|AS \[M\]|RUSTC|OBJCOPY)\b/u;

/**
 * Runs one step of a kit, telling the progress of it.
 *
 * @param operands that stand behind the step
 * @throws KitFailure `container/does-not-compile`, `container/bad-input`, `container/failed`
 * @throws the host's signal's reason when interrupted; the container has been stopped by then
 */
export async function runKit(
  host: Host,
  step: 'environment' | 'save' | 'load' | 'build',
  kit: KitRun,
  operands: readonly string[] = [],
): Promise<KitOutcome> {
  let files = 0;
  const complaints: string[] = [];
  const others: string[] = [];
  const args = ['-e', kit.engine.name, '-i', kit.inputs, '-o', kit.out];
  if (kit.jobs !== undefined) args.push('-j', String(kit.jobs));
  if (kit.keep) args.push('-k');
  const result = await run('sh', [join(kit.folder, 'run.sh'), ...args, step, ...operands], {
    env: host.env,
    signal: host.signal,
    ownGroup: true,
    grace: stopGrace,
    capture: 64 * 1024,
    onLine: (stream, line) => {
      if (stream === 'stderr') {
        const words = /^(?:run\.sh|build|environment): (.*)$/u.exec(line)?.[1];
        if (words !== undefined) complaints.push(words);
        else if (line.trim() !== '') others.push(line);
      } else if (line.startsWith('== ')) {
        host.progress.stage(line.slice(3));
      } else if (makes.test(line)) {
        files += 1;
        host.progress.advance(files, kit.expectedFiles, 'files');
      }
    },
  });
  host.progress.end();
  const volume = complaints.map((words) => / shell (quern-\S+)$/u.exec(words)?.[1]).find(Boolean);
  if (result.code === 0) return { volume, files };
  throw new KitFailure(await explain(result.code, complaints, others, kit), volume);
}

/** Opens a shell over the build folder that a failed run has kept, on this process's terminal. */
export async function enterBuildFolder(host: Host, kit: KitRun, volume: string): Promise<void> {
  await run('sh', [join(kit.folder, 'run.sh'), '-e', kit.engine.name, 'shell', volume], {
    env: host.env,
    signal: host.signal,
    terminal: true,
  });
}

/** Removes a build folder that was kept. */
export async function removeBuildFolder(host: Host, kit: KitRun, volume: string): Promise<void> {
  await run('sh', [join(kit.folder, 'run.sh'), '-e', kit.engine.name, 'remove', volume], { env: host.env });
}

async function explain(
  code: number | null,
  complaints: readonly string[],
  others: readonly string[],
  kit: KitRun,
): Promise<Diagnostic> {
  const [message = 'a step of the kit failed', ...notes] = complaints;
  const log = code === exitCodes.no ? await readLog(kit) : '';
  if (log !== '') return explainCompile(log, notes, kit);
  if (code === exitCodes.input) return containerCodes.report('container/bad-input', { message, notes });
  return containerCodes.report('container/failed', {
    message,
    notes: [...notes, ...others.slice(-mostLines)],
    help: 'What the engine or the system said is among the notes; when it is mended, start again: nothing is lost.',
  });
}

function explainCompile(log: string, notes: readonly string[], kit: KitRun): Diagnostic {
  const first = firstError(log);
  return containerCodes.report('container/does-not-compile', {
    message: first ? `the kernel does not compile: ${first.text}` : 'the kernel does not compile',
    notes: [
      ...(first ? [`This is the first error, line ${first.line} of the log.`] : notes),
      ...(first?.meaning === undefined ? [] : [first.meaning]),
      ...(kit.keep ? notes.filter((note) => / (?:shell|remove) quern-/u.test(note)) : []),
    ],
    help: kit.keep
      ? 'Read the whole log, or enter the build folder that was kept.'
      : 'Read the whole log; with --keep-tree the build folder is kept and can be entered.',
  });
}

async function readLog(kit: KitRun): Promise<string> {
  try {
    return gunzipSync(await readFile(join(`${kit.out}.failed`, 'make.log.gz'))).toString('latin1');
  } catch {
    return '';
  }
}
