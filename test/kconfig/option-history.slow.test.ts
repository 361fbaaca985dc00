import { expect, test } from 'vitest';

import { optionHistory } from '../../src/kconfig/option-history.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelSeries } from '../oracle/kernel-trees.ts';
import { currentHistory } from '../oracle/write-option-history.ts';

/** Trees move on to the next point release, and the table is not made anew for each: a few names in a thousand differ. */
test('what is shipped is what the trees say', async (context) => {
  const { releases } = await orSkip(context, currentHistory());
  const all = new Set(releases.flatMap((names) => [...names.keys()]));
  const differing = [...all].filter((name) => {
    const has = kernelSeries.filter((_, index) => releases[index]?.has(name));
    const told = optionHistory(name)?.releases ?? kernelSeries;
    return has.join(' ') !== told.join(' ');
  });
  expect(all.size).toBeGreaterThan(20_000);
  expect(differing.length / all.size, differing.slice(0, 20).join(' ')).toBeLessThan(0.005);
});
