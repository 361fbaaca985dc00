/** Referee: scripts/kconfig/conf of four generations, on files made up by fast-check. */
import fc from 'fast-check';
import { afterAll, expect, test } from 'vitest';

import { orSkip } from '../oracle/apt-root.ts';
import { generations, snippetReferee } from '../oracle/kconfig-snippets.ts';
import { sameAsConf } from './snippet-parity.ts';

const runs = 2500;
const referee = snippetReferee();
afterAll(() => referee.close());

test('small Kconfig files mean the same', { timeout: 7_200_000 }, async (context) => {
  const tally = { equal: 0, refused: 0, crashed: 0 };
  const four = await orSkip(context, generations());
  await fc.assert(sameAsConf(four, referee, tally), { numRuns: runs });
  process.stdout.write(`small Kconfig files: ${JSON.stringify(tally)}\n`);
  expect(tally.equal).toBeGreaterThan(3 * runs);
});
