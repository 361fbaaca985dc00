/**
 * `npm run bench:patch`: Debian's own patches of its kernel tried on the files that they touch, files read and all, beside
 * GNU patch applying them to a copy of these files. The dry run should take no longer.
 *
 *   node --import tsx test/bench/patch-bench.ts [--rounds N]
 */
import { spawnSync } from 'node:child_process';
import { cpSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

import { exitOf } from '../../src/diagnostics/diagnostic.ts';
import { applyStack } from '../../src/patch/apply-patch.ts';
import { WorkingTree } from '../../src/patch/working-tree.ts';
import { decoding } from '../../src/source/decoding.ts';
import { contentOf, debianKernelPatches, seriesOf } from '../oracle/debian-kernel-patches.ts';
import { formatTable, median, ratio } from './figures.ts';
import { readCount } from './read-count.ts';

const { values } = parseArgs({ options: { rounds: { type: 'string', default: '5' } } });
const rounds = readCount('--rounds', values.rounds);
const found = await debianKernelPatches();
const names = await seriesOf(found);

async function ours(): Promise<number> {
  const start = performance.now();
  const files = new Map(
    [...(await contentOf(found.tree))].map(([path, text]) => [path, { text, executable: false }]),
  );
  const stack = names.map((name) => {
    const text = readFileSync(join(found.patches, name), 'latin1');
    return { name, text, strip: 1, reverse: false, fuzz: 0 };
  });
  const { diagnostics } = applyStack(new WorkingTree(files), stack, decoding);
  if (exitOf(diagnostics) !== 0) throw new Error('the patches do not apply');
  return performance.now() - start;
}

/** The copy is made before the clock starts. */
function theirs(): number {
  const copy = mkdtempSync(join(tmpdir(), 'quern-bench-'));
  try {
    cpSync(found.tree, copy, { recursive: true });
    const script = 'for one; do patch -p1 -F0 --batch --forward -r - <"$0/$one" >/dev/null || exit; done';
    const start = performance.now();
    const { status } = spawnSync('sh', ['-c', script, found.patches, ...names], { cwd: copy });
    if (status !== 0) throw new Error('patch fails');
    return performance.now() - start;
  } finally {
    rmSync(copy, { recursive: true, force: true });
  }
}

const [mine, others]: [number[], number[]] = [[], []];
for (let round = 0; round < rounds; round += 1) {
  mine.push(await ours());
  others.push(theirs());
}
const seconds = (figures: readonly number[]): string => (median(figures) / 1000).toFixed(2);
process.stdout.write(
  formatTable(
    [`${names.length} patches, median of ${rounds}`, 'seconds', 'ratio'],
    [
      ['GNU patch', seconds(others), '1.00'],
      ['the dry run', seconds(mine), ratio(median(mine), median(others)).toFixed(2)],
    ],
  ),
);
