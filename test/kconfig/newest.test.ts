/** Referee: `newestExpected` was made by the program of Linux 7.3.4. */
import { expect, test } from 'vitest';

import { configure } from '../../src/kconfig/configure.ts';
import { newestCases } from './newest-cases.ts';
import { newestExpected } from './newest-expected.ts';
import { modelOf } from './small-tree.ts';

test.each(newestCases)('$name', ({ name, kconfig, mode = 'olddefconfig', config }) => {
  const { text } = configure(modelOf(kconfig, { release: '7.3' }), mode, config);
  expect(text.split('\n').slice(4, -1)).toEqual(newestExpected[name]);
});
