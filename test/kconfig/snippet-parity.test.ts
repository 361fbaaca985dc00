/** Referee: scripts/kconfig/conf of 6.1 and 6.12, on files made up by fast-check; more of them in the slow suite. */
import fc from 'fast-check';
import { afterAll, expect, test } from 'vitest';

import { orSkip } from '../oracle/apt-root.ts';
import { generations, snippetReferee } from '../oracle/kconfig-snippets.ts';
import { sameAsConf } from './snippet-parity.ts';

const referee = snippetReferee();
afterAll(() => referee.close());

test('small Kconfig files mean the same', { timeout: 600_000 }, async (context) => {
  const tally = { equal: 0, refused: 0, crashed: 0 };
  const two = await orSkip(context, generations(['6.1', '6.12']));
  await fc.assert(sameAsConf(two, referee, tally), { numRuns: 40 });
  expect(tally.equal).toBeGreaterThan(40);
});
