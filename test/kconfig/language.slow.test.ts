/** Referee: scripts/kconfig/conf of four generations. */
import { afterAll, expect, test } from 'vitest';

import { orSkip } from '../oracle/apt-root.ts';
import { generations, snippetReferee } from '../oracle/kconfig-snippets.ts';
import { kernelSeries } from '../oracle/kernel-trees.ts';
import { languageCases } from './language-cases.ts';
import { languageDifferences } from './language-parity.ts';

/**
 * Where we are known to differ, in a circle that no tree has: the older programs find a member of a choice to be n when
 * the bound of a range asks for it while the choice is worked out. Here all members have their values at once.
 */
const known = /^(?:5\.10|6\.1), the bound of a range in a circle of conditions, olddefconfig: /u;

const referee = snippetReferee();
afterAll(() => referee.close());

test.for(kernelSeries)('unusual and wrong files, by the rules of %s', async (series, context) => {
  const [generation] = await orSkip(context, generations([series]));
  if (!generation) throw new Error('there is no such generation');
  const found: string[] = [];
  for (const one of languageCases) found.push(...(await languageDifferences(generation, referee, one)));
  expect(found.filter((one) => !known.test(one))).toEqual([]);
  expect(found.some((one) => known.test(one))).toBe(series === '5.10' || series === '6.1');
});
