/**
 * How long `quern config` takes beside the kernel's own program, all as whole processes on a full `.config` of the
 * architecture's usual configuration, with recorded answers to probes: ours on a tree in a folder (`--tree`), ours on a
 * spec with a lock whose tree is kept in the store, and the program, one after the other in rounds so that what drifts on
 * the machine hits all alike. Then the program a few times with its probes really run. The results must be equal.
 *
 *   node --import tsx test/bench/kconfig-bench.ts [--rounds N]
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { loadavg } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

import { build } from 'esbuild';

import { openSpec } from '../../src/commands/open-spec.ts';
import type { Host } from '../../src/host/host.ts';
import { Store } from '../../src/host/store.ts';
import { encodePack, packVersion } from '../../src/kconfig/pack.ts';
import { formatProbes } from '../../src/source/probe-file.ts';
import { packOfTree } from '../../src/source/tree-on-disk.ts';
import { formatLock } from '../../src/spec/write-lock.ts';
import { makeWorld } from '../container/world.ts';
import { answers as anyAnswers } from '../kit/fixture.ts';
import { confWords } from '../oracle/conf-run.ts';
import { kconfigProgram, type KconfigProgram } from '../oracle/kconfig-program.ts';
import { kernelTree, type KernelTree } from '../oracle/kernel-trees.ts';
import { recordedAnswers } from '../oracle/recorded-answers.ts';
import { formatTable, median, ratio } from './figures.ts';
import type { OnceFigures, TreeRecording } from './kconfig-figures.ts';
import { readCount } from './read-count.ts';
import { builtCli } from '../setup/built-cli.ts';

/** Each takes a quarter of a minute. */
const liveRounds = 3;
const stepRounds = 5;

const { values } = parseArgs({ options: { rounds: { type: 'string', default: '11' } } });
const rounds = readCount('--rounds', values.rounds);
const folder = mkdtempSync('/tmp/quern-bench-');
const once = join(folder, 'kconfig-once.mjs');
const cli = builtCli();
const store = join(folder, 'store');
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
    // a spec for another machine asks its cross compiler, of which there is no recording
    for (const arch of ['x86_64'] as const) {
      const tree = await kernelTree(series);
      const name = `Linux ${tree.series}, ${arch}`;
      const times = await compare(await kconfigProgram(tree, arch));
      ratios.push([name, ...ratiosOf(times)]);
      steps.push([name, ...stepsOf(times.readSteps)], ['  kept in the store', ...stepsOf(times.keptSteps)]);
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
  /** Where the time goes, with the tree read and with it kept. */
  readonly readSteps: readonly OnceFigures[];
  readonly keptSteps: readonly OnceFigures[];
}

interface Pair {
  readonly ours: number;
  readonly theirs: number;
}

/** Puts the pack of a tree into the bench's store. @returns the SHA-256 of the pack */
async function storePack(host: Host, { folder: tree }: KernelTree): Promise<string> {
  const pack = await packOfTree(host, tree);
  const { sha256 } = await host.store.add([encodePack(pack)]);
  await host.store.keepNamed('packs', `${pack.source}.${packVersion}`, `${sha256}\n`);
  return sha256;
}

/** A spec of the tree, with a lock: nothing of it but the answers and the pack matters for a configuration. */
async function writeSpec(host: Host, version: string, recording: TreeRecording): Promise<void> {
  const spec = join(folder, 'spec.yaml');
  const lines = [
    'quern: 1',
    'name: bench',
    `kernel: { version: "${version}", source: { tarball: linux.tar } }`,
    `arch: ${recording.arch}`,
    'config: { base: ./base.config }',
    'environment: { debian: bookworm }',
  ];
  writeFileSync(spec, `${lines.join('\n')}\n`);
  const opened = await openSpec(host, spec);
  const pin = { sha256: '0'.repeat(64), size: 0 };
  const lock = formatLock({
    lock: 1,
    spec: opened.spec,
    inputs: {
      origins: {},
      indexes: [],
      source: { kind: 'tarball', path: 'linux.tar', ...pin },
      base: { path: 'base.config', sha256: '0'.repeat(64) },
      fragments: [],
      patches: [],
      packages: [],
    },
    answers: { ...anyAnswers, pack: recording.pack, probes: Object.fromEntries(recording.answers) },
  });
  writeFileSync(join(folder, 'spec.lock.json'), lock);
}

async function compare(program: KconfigProgram): Promise<Times> {
  const { tree, arch } = program;
  const base = await program.make('defconfig');
  writeFileSync(join(folder, 'base.config'), base, 'latin1');
  const world = makeWorld();
  const host = { ...world.host, store: new Store(store) };
  // as $(shell …) has them, and a lock
  const answers = [...recordedAnswers(program)].map(
    ([command, said]) => [command, said.replace(/\n+$/, '')] as const,
  );
  const recording = { arch, pack: await storePack(host, tree), answers };
  writeFileSync(join(folder, 'recording.json'), JSON.stringify(recording));
  const kernelVersion = program.environment['KERNELVERSION'] ?? '';
  const probes = {
    arch,
    kernelVersion,
    answers: new Map(recording.answers),
  };
  writeFileSync(join(folder, 'probes.json'), formatProbes(probes));
  await writeSpec(host, kernelVersion, recording);
  world.remove();

  function ours(...words: readonly string[]): number {
    const all = [cli, 'config', ...words, '-o', 'our.config'];
    return timed(process.execPath, all, { QUERN_STORE: store }).time;
  }
  const ofTree = ['--tree', tree.folder, '--arch', arch, '--base', 'base.config', '--probes', 'probes.json'];

  function steps(...more: readonly string[]): OnceFigures {
    const words = [once, tree.folder, 'recording.json', 'base.config', 'our.config', ...more];
    return JSON.parse(timed(process.execPath, words, {}).stdout) as OnceFigures;
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
    const first = { ours: ours(...ofTree), theirs: theirs(replayed) };
    const second = { ours: ours('spec.yaml'), theirs: theirs(replayed) };
    if (round === 0) continue;
    read.push(first);
    kept.push(second);
  }
  const live = Array.from({ length: liveRounds }, () => theirs(program.environment));
  const readSteps = Array.from({ length: stepRounds }, () => steps());
  const keptSteps = Array.from({ length: stepRounds }, () => steps(store));
  return { read, kept, live, readSteps, keptSteps };
}

function ratiosOf({ read, kept, live }: Times): readonly string[] {
  const ours = (pairs: readonly Pair[]): number => median(pairs.map((pair) => pair.ours));
  const pairwise = (pairs: readonly Pair[]): number =>
    median(pairs.map((pair) => ratio(pair.ours, pair.theirs)));
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

function stepsOf(runs: readonly OnceFigures[]): readonly string[] {
  const middle = (of: (figures: OnceFigures) => number): string => median(runs.map(of)).toFixed(0);
  return [
    middle(({ reading }) => reading),
    middle(({ parsing }) => parsing),
    middle(({ evaluating }) => evaluating),
    middle(({ writing }) => writing),
    Math.max(...runs.map(({ peakMemory }) => peakMemory)).toFixed(0),
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
