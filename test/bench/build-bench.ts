/**
 * `npm run bench:build`: what a build through Quern costs beside the same `make` by hand, in user and system CPU of the
 * make phase. Builds the demo's kernel again and again: some minutes for each build, two builds for each pair.
 *
 *   node --import tsx test/bench/build-bench.ts [--pairs N] [--jobs N]
 */
import { cpSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

import { watchInterrupts } from '../../src/host/interrupt.ts';
import { packageRoot } from '../../src/host/package-root.ts';
import { run } from '../../src/host/processes.ts';
import { builtCli } from '../setup/built-cli.ts';
import { needEngine, startEngine, testCache } from '../setup/engine.ts';
import { engineApi, type BuildContainer } from './engine-api.ts';
import { formatTable, median, ratio } from './figures.ts';
import { makeByHand, type HandMade } from './make-by-hand.ts';
import { measurePhase, type Phase } from './measure-phase.ts';
import { readCount } from './read-count.ts';

/** What Quern may cost at most: the median of the ratios. */
const most = 1.03;

interface Pair {
  readonly quern: Phase;
  readonly byHand: Phase;
}

const { values } = parseArgs({ options: { pairs: { type: 'string' }, jobs: { type: 'string' } } });
const pairs = readCount('--pairs', values.pairs ?? '3');
const jobs = readCount('--jobs', values.jobs ?? String(availableParallelism()));

const { signal } = watchInterrupts(process, () => process.exit(130));
const cli = builtCli();
const stopEngine = startEngine();
const folder = mkdtempSync('/tmp/quern-bench-');
process.env['QUERN_STORE'] = join(testCache(), 'store');
let kept: BuildContainer | undefined;
try {
  needEngine();
  const done = await comparePairs();
  process.stdout.write(report(done));
  process.exitCode = median(done.map(cpuRatio)) <= most ? 0 : 1;
} finally {
  if (kept) await run('docker', ['volume', 'rm', kept.volume]);
  rmSync(folder, { recursive: true, force: true });
  stopEngine();
}

/** Which of the two goes first changes from pair to pair, so that what drifts on the machine hits both alike. */
async function comparePairs(): Promise<Pair[]> {
  const { DOCKER_HOST } = process.env;
  const api = engineApi(DOCKER_HOST);
  const options = { cwd: folder, signal };
  cpSync(join(packageRoot(), 'test/e2e/otter-bank'), folder, { recursive: true });
  // pinned afresh, since what is pinned in the repository may have left the archive
  rmSync(join(folder, 'gauge-station.lock.json'), { force: true });
  progress('pinning the demo');
  const pinned = await run(process.execPath, [cli, 'pin', 'gauge-station.yaml'], options);
  if (pinned.code !== 0) throw new Error(`the demo cannot be pinned:\n${pinned.stderr}`);

  const throughQuern = async (): Promise<Phase> => {
    const output = join(folder, 'kernel');
    // The first one's build folder is kept: it has the inputs for the builds by hand.
    const keep = kept ? [] : ['--keep-tree'];
    const phase = await measurePhase(
      [
        process.execPath,
        cli,
        'build',
        'gauge-station.yaml',
        '-o',
        output,
        '--jobs',
        String(jobs),
        '--engine',
        'docker',
        ...keep,
      ],
      {
        begin: /^compiling …$/u,
        end: /^collecting the artefacts …$/u,
        container: async () => {
          const build = await api.findBuild();
          kept ??= build;
          return build.id;
        },
      },
      api,
      options,
    );
    progress(`  through Quern: ${describe(phase)}`);
    return phase;
  };
  const byHand = async (): Promise<HandMade> => {
    if (!kept) throw new Error('nothing has been built that could be built again by hand');
    const phase = await makeByHand(kept, jobs, api, options);
    progress(`  by hand:       ${describe(phase)}`);
    return phase;
  };

  const done: Pair[] = [];
  for (let index = 0; index < pairs; index += 1) {
    progress(`pair ${index + 1} of ${pairs}`);
    const handFirst = index % 2 === 1 ? await byHand() : undefined;
    const quern = await throughQuern();
    const hand = handFirst ?? (await byHand());
    // the same work, or the figures say nothing
    if (
      !readFileSync(join(folder, 'kernel', 'SHA256SUMS'), 'utf8').includes(`${hand.imageSha256}  bzImage\n`)
    ) {
      throw new Error(`the two kernels differ: the one that was made by hand is ${hand.imageSha256}`);
    }
    done.push({ quern, byHand: hand });
  }
  return done;
}

function cpuOf({ container, client }: Phase): number {
  return container.total + client;
}

function cpuRatio({ quern, byHand }: Pair): number {
  return ratio(cpuOf(quern), cpuOf(byHand));
}

function wallRatio({ quern, byHand }: Pair): number {
  return ratio(quern.wall, byHand.wall);
}

function report(done: readonly Pair[]): string {
  const rows = done.flatMap((pair, index) => [
    [
      `${index + 1} through Quern`,
      ...rowOf(pair.quern),
      cpuRatio(pair).toFixed(4),
      wallRatio(pair).toFixed(4),
    ],
    [`${index + 1} by hand`, ...rowOf(pair.byHand)],
  ]);
  const head = [
    'seconds',
    'user',
    'system',
    'container',
    'clients',
    'CPU',
    'others',
    'wall',
    'CPU ratio',
    'wall ratio',
  ];
  const cpu = median(done.map(cpuRatio));
  const wall = median(done.map(wallRatio));
  return `
The make phase of the demo's kernel, -j ${jobs}. User, system and both together: everything in the container, by
the kernel's accounts, of which the first two are coarser under cgroup v1; clients: what runs outside of it for the
build (Quern, the kit's script, the engine's client); CPU: container and clients; others: everything else on
this machine meanwhile, which should be next to nothing, since on a busy machine the same work costs more.

${formatTable(head, rows)}
median of the CPU ratios: ${cpu.toFixed(4)} (at most ${most}: ${cpu <= most ? 'yes' : 'NO'}); of the wall ratios: ${wall.toFixed(4)}
`;
}

function rowOf(phase: Phase): string[] {
  const { container, client, others, wall } = phase;
  const { user, system, total } = container;
  return [user, system, total, client, cpuOf(phase), others, wall].map((seconds) => seconds.toFixed(2));
}

function describe(phase: Phase): string {
  return `${cpuOf(phase).toFixed(1)} s CPU, ${phase.wall.toFixed(1)} s wall`;
}

function progress(text: string): void {
  process.stderr.write(`${new Date().toISOString().slice(11, 19)} ${text}\n`);
}
