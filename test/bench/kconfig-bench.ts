/**
 * How long our engine takes for a configuration beside the kernel's own program, all as whole processes on a full
 * `.config` of the architecture's usual configuration, with recorded answers to probes: ours with the tree's files, ours
 * with the tree kept in the store, and the program, one after the other in rounds so that what drifts on the machine hits
 * all alike. Then the program a few times with its probes really run. The results must be equal.
 *
 *   node --import tsx test/bench/kconfig-bench.ts [--rounds N]
 */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { loadavg } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

import { build } from 'esbuild';

import { encodePack } from '../../src/kconfig/pack.ts';
import { packOfTree } from '../../src/source/tree-on-disk.ts';
import { makeWorld } from '../container/world.ts';
import { confWords } from '../oracle/conf-run.ts';
import { kconfigProgram, type KconfigProgram } from '../oracle/kconfig-program.ts';
import { kernelTree, type KernelTree } from '../oracle/kernel-trees.ts';
import { recordedAnswers } from '../oracle/recorded-answers.ts';
import { formatTable, median, ratio } from './figures.ts';
import type { OnceFigures, TreeRecording } from './kconfig-figures.ts';
import { readCount } from './read-count.ts';

/** Each takes a quarter of a minute. */
const liveRounds = 3;

const { values } = parseArgs({ options: { rounds: { type: 'string', default: '11' } } });
const rounds = readCount('--rounds', values.rounds);
const folder = mkdtempSync('/tmp/quern-bench-');
const once = join(folder, 'kconfig-once.mjs');
try {
  await build({
    entryPoints: [join(import.meta.dirname, 'kconfig-once.ts')],
    outfile: once,
    bundle: true,
    platform: 'node',
    format: 'esm',
  });
  const ratios: string[][] = [];
  const steps: string[][] = [];
  for (const series of ['6.12', '7.3'] as const) {
    for (const arch of ['x86_64', 'arm64'] as const) {
      const tree = await kernelTree(series);
      const name = `Linux ${tree.series}, ${arch}`;
      const times = await compare(await kconfigProgram(tree, arch), await packDigest(tree));
      ratios.push([name, ...ratiosOf(times)]);
      steps.push([name, ...stepsOf(times.read)], ['  kept in the store', ...stepsOf(times.kept)]);
    }
  }
  const load = loadavg().map((one) => one.toFixed(1));
  process.stdout.write(
    `Milliseconds, medians of ${rounds} rounds; load of the machine ${load.join(' ')}.\n\n`,
  );
  const head = ['', 'ours', 'kept', 'conf', 'ours/conf', 'kept/conf', 'probes run', 'ours/that', 'kept/that'];
  process.stdout.write(`${formatTable(head, ratios)}\n`);
  process.stdout.write('Where ours goes, and the most memory that it took, in MB:\n\n');
  process.stdout.write(formatTable(['', 'reading', 'parsing', 'evaluating', 'writing', 'memory'], steps));
} finally {
  rmSync(folder, { recursive: true, force: true });
}

interface Times {
  /** Ours and the program's right behind it. */
  readonly read: readonly Pair[];
  readonly kept: readonly Pair[];
  /** The program with its probes run. */
  readonly live: readonly number[];
}

interface Pair {
  readonly ours: Run;
  readonly theirs: number;
}

interface Run {
  readonly time: number;
  readonly figures: OnceFigures;
}

async function packDigest({ folder: tree }: KernelTree): Promise<string> {
  const world = makeWorld();
  try {
    return createHash('sha256')
      .update(encodePack(await packOfTree(world.host, tree)))
      .digest('hex');
  } finally {
    world.remove();
  }
}

async function compare(program: KconfigProgram, pack: string): Promise<Times> {
  const { tree, arch } = program;
  const recording: TreeRecording = { arch, pack, answers: [...recordedAnswers(program)] };
  const base = await program.make('defconfig');
  writeFileSync(join(folder, 'recording.json'), JSON.stringify(recording));
  writeFileSync(join(folder, 'base.config'), base, 'latin1');

  function ours(...store: readonly string[]): Run {
    const words = [once, tree.folder, 'recording.json', 'base.config', 'our.config', ...store];
    const { time, stdout } = timed(process.execPath, words, {});
    return { time, figures: JSON.parse(stdout) as OnceFigures };
  }

  function theirs(environment: Readonly<Record<string, string>>): number {
    writeFileSync(join(folder, '.config'), base, 'latin1');
    const { time } = timed(program.conf, confWords('olddefconfig'), {
      ...environment,
      KCONFIG_CONFIG: '.config',
      KCONFIG_AUTOCONFIG: '/dev/null',
    });
    const [our, their] = ['our.config', '.config'].map((name) => readFileSync(join(folder, name), 'latin1'));
    if (our !== their) throw new Error(`the results for ${tree.series} ${arch} are not equal`);
    return time;
  }

  const replayed = { ...program.replayed, LD_PRELOAD: program.preload };
  const read: Pair[] = [];
  const kept: Pair[] = [];
  // the first round brings the files into memory, and the tree into the store, and does not count
  for (let round = 0; round <= rounds; round += 1) {
    const first = { ours: ours(), theirs: theirs(replayed) };
    const second = { ours: ours('store'), theirs: theirs(replayed) };
    if (round === 0) continue;
    read.push(first);
    kept.push(second);
  }
  const live = Array.from({ length: liveRounds }, () => theirs(program.environment));
  return { read, kept, live };
}

function ratiosOf({ read, kept, live }: Times): readonly string[] {
  const ours = (pairs: readonly Pair[]): number => median(pairs.map((pair) => pair.ours.time));
  const pairwise = (pairs: readonly Pair[]): number =>
    median(pairs.map((pair) => ratio(pair.ours.time, pair.theirs)));
  return [
    ours(read).toFixed(0),
    ours(kept).toFixed(0),
    median([...read, ...kept].map(({ theirs }) => theirs)).toFixed(0),
    pairwise(read).toFixed(2),
    pairwise(kept).toFixed(2),
    median(live).toFixed(0),
    ratio(ours(read), median(live)).toFixed(3),
    ratio(ours(kept), median(live)).toFixed(3),
  ];
}

function stepsOf(pairs: readonly Pair[]): readonly string[] {
  const middle = (of: (figures: OnceFigures) => number): string =>
    median(pairs.map(({ ours }) => of(ours.figures))).toFixed(0);
  return [
    middle(({ reading }) => reading),
    middle(({ parsing }) => parsing),
    middle(({ evaluating }) => evaluating),
    middle(({ writing }) => writing),
    Math.max(...pairs.map(({ ours }) => ours.figures.peakMemory)).toFixed(0),
  ];
}

function timed(
  command: string,
  words: readonly string[],
  env: Readonly<Record<string, string>>,
): { readonly time: number; readonly stdout: string } {
  const start = performance.now();
  const { status, stdout, stderr } = spawnSync(command, words, { cwd: folder, env, encoding: 'latin1' });
  const time = performance.now() - start;
  if (status !== 0) throw new Error(`${command} ended with ${status}: ${stderr}`);
  return { time, stdout };
}
