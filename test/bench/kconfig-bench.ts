/**
 * How long our engine takes for a configuration beside the kernel's own program, both as whole processes on a full
 * `.config` of the architecture's usual configuration, both with recorded answers to probes, one after the other in
 * pairs so that what drifts on the machine hits both alike. Their results must be equal.
 *
 *   node --import tsx test/bench/kconfig-bench.ts [--rounds N]
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

import { build } from 'esbuild';

import { confWords } from '../oracle/conf-run.ts';
import { kconfigProgram, type KconfigProgram } from '../oracle/kconfig-program.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';
import { formatTable, median, ratio } from './figures.ts';
import type { OnceFigures, ProbeRecording } from './kconfig-figures.ts';
import { readCount } from './read-count.ts';

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
  const rows: string[][] = [];
  for (const series of ['6.12', '7.3'] as const) {
    for (const arch of ['x86_64', 'arm64'] as const) {
      rows.push(await compare(await kconfigProgram(await kernelTree(series), arch)));
    }
  }
  const head = ['', 'ours', 'conf', 'ratio', 'reading', 'parsing', 'evaluating', 'writing', 'memory'];
  process.stdout.write(`Milliseconds (memory: MB at most), medians of ${rounds} pairs:\n\n`);
  process.stdout.write(formatTable(head, rows));
} finally {
  rmSync(folder, { recursive: true, force: true });
}

/** One row of the table. */
async function compare(program: KconfigProgram): Promise<string[]> {
  const { tree, arch, environment, probes } = program;
  const recording: ProbeRecording = { environment, answers: Object.fromEntries(probes) };
  const [recordingFile, configFile, output] = ['recording.json', 'base.config', 'our.config'].map((name) =>
    join(folder, name),
  ) as [string, string, string];
  writeFileSync(recordingFile, JSON.stringify(recording));
  const base = await program.make('defconfig');
  writeFileSync(configFile, base, 'latin1');

  const pairs: { ours: number; theirs: number; figures: OnceFigures }[] = [];
  // the first round brings the files into memory and does not count
  for (let round = 0; round <= rounds; round += 1) {
    const ours = timed(process.execPath, [once, tree.folder, recordingFile, configFile, output], {});
    writeFileSync(join(folder, '.config'), base, 'latin1');
    const theirs = timed(program.conf, confWords('olddefconfig'), {
      ...program.replayed,
      KCONFIG_CONFIG: '.config',
      KCONFIG_AUTOCONFIG: '/dev/null',
      LD_PRELOAD: program.preload,
    });
    if (readFileSync(output, 'latin1') !== readFileSync(join(folder, '.config'), 'latin1')) {
      throw new Error(`the results for ${tree.series} ${arch} are not equal`);
    }
    const figures = JSON.parse(ours.stdout) as OnceFigures;
    if (round > 0) pairs.push({ ours: ours.time, theirs: theirs.time, figures });
  }
  const middle = (of: (pair: (typeof pairs)[number]) => number): string => median(pairs.map(of)).toFixed(0);
  return [
    `Linux ${tree.series}, ${arch}`,
    middle(({ ours }) => ours),
    middle(({ theirs }) => theirs),
    median(pairs.map(({ ours, theirs }) => ratio(ours, theirs))).toFixed(2),
    middle(({ figures }) => figures.reading),
    middle(({ figures }) => figures.parsing),
    middle(({ figures }) => figures.evaluating),
    middle(({ figures }) => figures.writing),
    middle(({ figures }) => figures.peakMemory),
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
