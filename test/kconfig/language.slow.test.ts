/** Referee: scripts/kconfig/conf of four generations. */
import { afterAll, expect, test } from 'vitest';

import { orSkip } from '../oracle/apt-root.ts';
import { generations, snippetReferee } from '../oracle/kconfig-snippets.ts';
import { kernelSeries } from '../oracle/kernel-trees.ts';
import { languageCases } from './language-cases.ts';
import { languageDifferences } from './language-parity.ts';

const referee = snippetReferee();
afterAll(() => referee.close());

test.for(kernelSeries)('unusual and wrong files, by the rules of %s', async (series, context) => {
  const [generation] = await orSkip(context, generations([series]));
  if (!generation) throw new Error('there is no such generation');
  const found: string[] = [];
  for (const one of languageCases) found.push(...(await languageDifferences(generation, referee, one)));
  expect(found).toEqual([]);
});
