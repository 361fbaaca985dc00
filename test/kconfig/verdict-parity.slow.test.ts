/** Referee: scripts/kconfig/conf of each tree, on configurations with random requests, a third of them wrong. */
import { afterAll, expect, test } from 'vitest';

import { compose } from '../../src/kconfig/compose.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { readDotConfig } from '../../src/kconfig/dot-config.ts';
import { judgeRequests } from '../../src/kconfig/verdict.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kconfigProgram, type KconfigProgram, type KernelArchitecture } from '../oracle/kconfig-program.ts';
import { kernelTree, type KernelSeries } from '../oracle/kernel-trees.ts';
import { filesBelow, kconfigTexts, ourModel } from '../oracle/our-kconfig.ts';
import { definedNames, withOverrides } from '../oracle/random-overrides.ts';
import { checkVerdict } from './check-verdict.ts';

const started: KconfigProgram[] = [];
afterAll(() => Promise.all(started.map((program) => program.close())));

const trees: readonly (readonly [KernelSeries, KernelArchitecture])[] = [
  ['5.10', 'x86_64'],
  ['6.1', 'x86_64'],
  ['6.12', 'x86_64'],
  ['7.3', 'x86_64'],
  ['7.3', 'arm64'],
];
const runs = 60;

test.for(trees)('Linux %s, %s: no false verdict in either direction', async ([series, arch], context) => {
  const program = await orSkip(
    context,
    kernelTree(series).then((tree) => kconfigProgram(tree, arch)),
  );
  started.push(program);
  const model = ourModel(program);
  const names = definedNames(kconfigTexts(program.tree.folder));
  const base = await program.make('defconfig');
  const files = filesBelow(program.tree.folder);
  const seen = new Map<string, number>();
  for (let seed = 1; seed <= runs; seed += 1) {
    // Of an even seed the base stands in front as it is.
    const overrides = readDotConfig(withOverrides(base, names, 50, 2 * seed).slice(base.length)).entries;
    const requests = overrides.map(({ option, value, line }) => ({
      option,
      value,
      origin: { file: 'random', line },
    }));
    const composed = compose({ file: 'base', text: base }, requests);
    const { evaluation } = configure(model, 'olddefconfig', composed.text);
    const { config } = await program.runForked({ mode: 'olddefconfig', config: composed.text });
    const kernel = readDotConfig(config);
    const tree = {
      files,
      probes: { answer: (one: string) => program.probes.get(one) },
      environment: program.environment,
    };
    for (const verdict of judgeRequests({ evaluation, requests, originOf: composed.originOf, tree })) {
      checkVerdict(evaluation, verdict, kernel.get(verdict.option));
      seen.set(verdict.reason.kind, (seen.get(verdict.reason.kind) ?? 0) + 1);
    }
  }
  for (const kind of ['as-asked', 'dependency', 'wrong-type', 'no-prompt', 'selected', 'misspelt']) {
    expect(seen.get(kind) ?? 0, kind).toBeGreaterThan(0);
  }
  expect(seen.get('not-taken')).toBeUndefined();
});
