/**
 * The kernel's own program of four generations on small Kconfig files of a test's own: what the rules are is asked of
 * the program, not remembered.
 */
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';

import { detectDialect } from '../../src/kconfig/dialect.ts';
import type { Dialect } from '../../src/kconfig/dialect.ts';
import type { ParsedTree } from '../../src/kconfig/parse-tree.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import type { Probes } from '../../src/kconfig/probes.ts';
import { confWords, layJob, takeResult, type ConfBinary, type ConfJob, type ConfResult } from './conf-run.ts';
import { plainEnvironment } from './host-toolchain.ts';
import { confBinary } from './kconfig-program.ts';
import { lineWorker } from './line-worker.ts';
import { kernelSeries, kernelTree, type KernelSeries } from './kernel-trees.ts';
import { filesBelow } from './our-kconfig.ts';

export interface Generation {
  readonly series: KernelSeries;
  /** The rules that our engine reads out of the same tree. */
  readonly dialect: Dialect;
  readonly binary: ConfBinary;
}

/** The four generations, or those of them that are named. */
export function generations(wanted: readonly KernelSeries[] = kernelSeries): Promise<readonly Generation[]> {
  return Promise.all(
    wanted.map(async (series) => {
      const tree = await kernelTree(series);
      const { dialect } = detectDialect(filesBelow(tree.folder));
      return { series, dialect, binary: await confBinary(tree) };
    }),
  );
}

/** A few Kconfig files, the first one called `Kconfig`, in latin1. */
export type Snippet = Readonly<Record<string, string>>;

export interface SnippetReferee {
  /** Runs the program of a generation on Kconfig files; `$(shell,…)` really runs, with nothing but a PATH. */
  ask(generation: Generation, snippet: Snippet, job: ConfJob): Promise<ConfResult>;
  close(): Promise<void>;
}

/** A shell starts the programs: thousands of times, it is many times faster at it than Node is. */
export function snippetReferee(): SnippetReferee {
  const root = mkdtempSync(path.join(tmpdir(), 'quern-snippets-'));
  const shell = lineWorker('sh', ['-c', runEach], { cwd: root, env: plainEnvironment, answer: /^\d+$/u });
  let count = 0;
  return {
    ask: async ({ binary }, snippet, job) => {
      count += 1;
      const folder = path.join(root, String(count));
      mkdirSync(folder);
      for (const [name, text] of Object.entries(snippet))
        writeFileSync(path.join(folder, name), text, 'latin1');
      const variables = await layJob(job, folder);
      const assignments = Object.entries(variables).map((pair) => pair.join('='));
      const status = await shell.ask(
        [folder, ...assignments, binary.conf, ...confWords(job.mode)].join('\t'),
      );
      const printed = (name: string): string => readFileSync(path.join(folder, name), 'latin1');
      const result = {
        status: Number(status),
        ...(await takeResult(job, folder)),
        stdout: printed('stdout'),
        stderr: printed('stderr'),
      };
      rmSync(folder, { recursive: true });
      return result;
    },
    close: async () => {
      await shell.close();
      rmSync(root, { recursive: true, force: true });
    },
  };
}

/** One question, with a shell of its own. */
export async function askConf(generation: Generation, snippet: Snippet, job: ConfJob): Promise<ConfResult> {
  const referee = snippetReferee();
  try {
    return await referee.ask(generation, snippet, job);
  } finally {
    await referee.close();
  }
}

/** Each line is a folder and a command for `env`, separated by tabs. */
const runEach = `
set -f
IFS=$(printf '\\t')
while read -r line; do
  set -- $line
  folder=$1
  shift
  (cd "$folder" && exec env "$@" </dev/null >stdout 2>stderr) 2>/dev/null
  echo "$?"
done`;

/** The same files, read by our engine with the rules of a generation. */
export function parseSnippet(
  { dialect }: Generation,
  snippet: Snippet,
  probes: Probes = { answer: () => undefined },
): ParsedTree {
  const files = new Map(Object.entries(snippet));
  return parseTree({
    files: { read: (name) => files.get(name) },
    probes,
    environment: plainEnvironment,
    dialect,
  });
}
