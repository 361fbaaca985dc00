/**
 * Referee: scripts/kconfig/conf of four trees for seven architectures, built by the trees' own Makefiles; make itself
 * for the configurations that it puts together; and for the counts, a program linked with the objects of the parser.
 */
import { afterAll, describe, expect, test, type TestContext } from 'vitest';

import { baseConfig } from '../../src/kconfig/base-config.ts';
import { treeOnDisk } from '../../src/source/tree-on-disk.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kconfigCounts } from '../oracle/kconfig-counts.ts';
import {
  kconfigProgram,
  kernelArchitectures,
  type KconfigProgram,
  type KernelArchitecture,
} from '../oracle/kconfig-program.ts';
import { kernelSeries, kernelTree, type KernelSeries } from '../oracle/kernel-trees.ts';
import { kconfigTexts, ourModel } from '../oracle/our-kconfig.ts';
import { definedNames } from '../oracle/random-overrides.ts';
import { countModel } from './count-model.ts';
import { recipeFor } from './follow-recipe.ts';
import {
  allCases,
  compareAll,
  compareVerdicts,
  debianCases,
  defconfigCases,
  randomCases,
} from './parity-cases.ts';

const seeds = Array.from({ length: 100 }, (_, index) => index + 1);
const architectures = kernelArchitectures.filter((arch) => arch !== 'i386');

let compared = 0;
let verdicts = 0;
afterAll(() => {
  process.stdout.write(
    `compared with the kernel's own program: ${compared} configurations, ${verdicts} verdicts\n`,
  );
});

describe.each(kernelSeries.flatMap((series) => architectures.map((arch) => [series, arch] as const)))(
  'Linux %s, %s',
  (series, arch) => {
    const withProgram =
      (use: (program: KconfigProgram, context: TestContext) => Promise<void>) =>
      async (context: TestContext): Promise<void> => {
        const program = await orSkip(context, prepared(series, arch));
        try {
          await use(program, context);
        } finally {
          await program.close();
        }
      };

    test(
      'defines as much as its own parser finds, every probe answered n',
      withProgram(async (program) => {
        expect(countModel(ourModel(program, 'n'))).toEqual(await kconfigCounts(program, 'n'));
      }),
    );

    test.for(['defconfig', 'tinyconfig'])('make %s', (target, context) =>
      withProgram(async (program) => {
        const recipe = recipeFor(program, target);
        if (!recipe) throw new Error(`there is no recipe for ${target}`);
        const ours = baseConfig(ourModel(program), treeOnDisk(program.tree.folder), recipe);
        expect(ours).toBe(await program.make(target));
        compared += 1;
      })(context),
    );

    test(
      'every .config and every minimal one is the same',
      { timeout: 3_600_000 },
      withProgram(async (program) => {
        const names = definedNames(kconfigTexts(program.tree.folder));
        const model = ourModel(program);
        const result = await compareAll(
          [...allCases(names, [1, 2]), ...defconfigCases(program), ...randomCases(program, names, seeds)],
          program,
          model,
        );
        compared += result.cases;
        expect(result.differences).toEqual([]);
      }),
    );

    test.runIf(series === '6.1')(
      "Debian's configurations come to the same",
      withProgram(async (program, context) => {
        const debian = await orSkip(context, debianCases(program));
        const result = await compareAll(debian, program, ourModel(program));
        compared += result.cases;
        expect(result.differences).toEqual([]);
      }),
    );

    test(
      'every request that is kept has the verdict `kept`, and no other',
      { timeout: 3_600_000 },
      withProgram(async (program) => {
        const names = definedNames(kconfigTexts(program.tree.folder));
        const model = ourModel(program);
        for (const seed of seeds.slice(0, 20)) {
          const result = await compareVerdicts(program, model, names, seed);
          verdicts += result.cases;
          expect(result.differences).toEqual([]);
        }
      }),
    );
  },
);

function prepared(series: KernelSeries, arch: KernelArchitecture): Promise<KconfigProgram> {
  return kernelTree(series).then((tree) => kconfigProgram(tree, arch));
}
