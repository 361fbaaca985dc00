/** Models of real trees come back from the store as they were, on every architecture. */
import { expect, it } from 'vitest';

import { restoreModel, storeModel } from '../../src/kconfig/model-store.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kconfigProgram, kernelArchitectures } from '../oracle/kconfig-program.ts';
import { kernelSeries, kernelTree } from '../oracle/kernel-trees.ts';
import { ourModel } from '../oracle/our-kconfig.ts';
import { plainModel } from './plain-model.ts';

it.for(kernelSeries.flatMap((series) => kernelArchitectures.map((arch) => [series, arch] as const)))(
  'Linux %s on %s',
  async ([series, arch], context) => {
    const tree = await orSkip(context, kernelTree(series));
    const model = ourModel(await orSkip(context, kconfigProgram(tree, arch)));
    const bytes = storeModel(model);
    const restored = restoreModel(bytes);
    if (!restored) throw new Error('nothing comes back');
    // as text, since to compare a hundred thousand records one by one takes a minute
    expect(JSON.stringify(plainModel(restored)) === JSON.stringify(plainModel(model))).toBe(true);
    expect(Buffer.compare(storeModel(restored), bytes)).toBe(0);
  },
);
