/**
 * Referee: scripts/kconfig/conf of each tree, built by the tree's own Makefile; and for the counts, a program linked
 * with the objects of its parser. Here is a sample that takes a minute; parity.slow.test.ts has the whole.
 */
import { afterAll, expect, test, type TestContext } from 'vitest';

import { orSkip } from '../oracle/apt-root.ts';
import { kconfigCounts } from '../oracle/kconfig-counts.ts';
import { kconfigProgram, type KconfigProgram, type KernelArchitecture } from '../oracle/kconfig-program.ts';
import { kernelTree, type KernelSeries } from '../oracle/kernel-trees.ts';
import { kconfigTexts, ourModel } from '../oracle/our-kconfig.ts';
import { definedNames } from '../oracle/random-overrides.ts';
import { countModel } from './count-model.ts';
import {
  allCases,
  compareAll,
  compareVerdicts,
  defconfigCases,
  randomCases,
  usualDefconfig,
} from './parity-cases.ts';

/** Making a tree and its program for the first time takes a minute or two. */
const timeout = 600_000;

const started: KconfigProgram[] = [];
afterAll(() => Promise.all(started.map((program) => program.close())));

async function referee(
  context: TestContext,
  series: KernelSeries,
  arch: KernelArchitecture,
): Promise<KconfigProgram> {
  const program = await orSkip(
    context,
    kernelTree(series).then((tree) => kconfigProgram(tree, arch)),
  );
  started.push(program);
  return program;
}

test.for<[KernelSeries, KernelArchitecture]>([
  ['6.1', 'x86_64'],
  ['6.12', 'arm64'],
])(
  'Linux %s on %s defines as much as its own parser finds, every probe answered n',
  { timeout },
  async ([series, arch], context) => {
    const program = await referee(context, series, arch);
    expect(countModel(ourModel(program, 'n'))).toEqual(await kconfigCounts(program, 'n'));
  },
);

test.for<[KernelSeries, KernelArchitecture, readonly number[]]>([
  ['6.1', 'x86_64', [1, 2]],
  ['6.1', 'arm', [3]],
  ['6.12', 'x86_64', [4]],
  ['6.12', 'arm64', [5]],
])(
  'Linux %s on %s: every .config, every minimal one and every verdict is the same',
  { timeout },
  async ([series, arch, seeds], context) => {
    const program = await referee(context, series, arch);
    const usual = usualDefconfig(program);
    const names = definedNames(kconfigTexts(program.tree.folder));
    const model = ourModel(program);
    const compared = await compareAll(
      [
        ...defconfigCases(program, usual === undefined ? [] : [usual]),
        ...allCases(names, []),
        ...randomCases(program, names, seeds),
      ],
      program,
      model,
    );
    expect(compared.differences).toEqual([]);
    expect(compared.cases).toBe(5 + seeds.length);
    const verdicts = await compareVerdicts(program, model, names, 20);
    expect(verdicts.differences).toEqual([]);
    expect(verdicts.cases).toBeGreaterThan(30);
  },
);
