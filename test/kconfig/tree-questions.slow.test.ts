/** Variables and questions of four trees on eight architectures, against the kernel's own make and program. */
import { expect, it } from 'vitest';

import { orSkip } from '../oracle/apt-root.ts';
import { kernelArchitectures } from '../oracle/kconfig-program.ts';
import { kernelSeries, kernelTree } from '../oracle/kernel-trees.ts';
import { compareWithMake } from './compare-with-make.ts';

it.for(kernelSeries.flatMap((series) => kernelArchitectures.map((arch) => [series, arch] as const)))(
  'Linux %s on %s',
  async ([series, arch], context) => {
    const tree = await orSkip(context, kernelTree(series));
    const { variables, questions } = await orSkip(context, compareWithMake(tree, arch));
    expect(variables).toBeGreaterThan(20);
    expect(questions).toBeGreaterThan(30);
  },
);
