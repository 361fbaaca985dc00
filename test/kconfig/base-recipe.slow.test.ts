/** Targets that are put together by make, against make itself, in four trees. */
import { expect, it } from 'vitest';

import { orSkip } from '../oracle/apt-root.ts';
import { kconfigProgram, type KernelArchitecture } from '../oracle/kconfig-program.ts';
import { kernelSeries, kernelTree } from '../oracle/kernel-trees.ts';
import { followRecipe, recipeFor } from './follow-recipe.ts';

const targets: Readonly<Record<KernelArchitecture, readonly string[]>> = {
  x86_64: ['defconfig', 'tinyconfig'],
  i386: ['defconfig', 'tinyconfig'],
  arm64: ['defconfig', 'tinyconfig'],
  arm: ['defconfig', 'tinyconfig'],
  riscv: ['defconfig', 'tinyconfig', 'rv32_defconfig'],
  powerpc: ['defconfig', 'ppc64le_defconfig', 'mpc85xx_defconfig', 'ppc_defconfig', 'ppc64le_allmodconfig'],
  s390: ['defconfig', 'tinyconfig'],
  mips: ['defconfig', '64r6el_defconfig', 'sead3_defconfig', 'tinyconfig'],
};

const all = kernelSeries.flatMap((series) =>
  Object.entries(targets).flatMap(([arch, list]) =>
    list.map((target) => [series, arch as KernelArchitecture, target] as const),
  ),
);

it.for(all)('Linux %s on %s: %s', async ([series, arch, target], context) => {
  const program = await orSkip(
    context,
    kernelTree(series).then((tree) => kconfigProgram(tree, arch)),
  );
  const recipe = recipeFor(program, target);
  if (!recipe) throw new Error('no recipe');
  expect(await followRecipe(program, recipe)).toBe(await program.make(target));
});
