import { expect, test } from 'vitest';

import {
  fitsType,
  isSameValue,
  numberOf,
  rightSpelling,
  type ValuedType,
} from '../../src/kconfig/fit-value.ts';

test.each<[ValuedType, string, boolean, string | undefined]>([
  ['bool', 'y', true, 'y'],
  ['bool', 'm', false, 'y'],
  ['bool', 'yes', false, 'y'],
  ['bool', '"y"', false, 'y'],
  ['bool', '0', false, 'n'],
  ['bool', 'otter', false, undefined],
  ['tristate', 'm', true, 'm'],
  ['tristate', 'Module', false, 'm'],
  ['tristate', '', false, 'n'],
  ['int', '-5', true, '-5'],
  ['int', '010', false, '10'],
  ['int', '0x10', false, '16'],
  ['int', '"7"', false, '7'],
  ['int', '+7', false, '7'],
  ['int', '7 ', false, '7'],
  ['int', 'y', false, undefined],
  ['int', `1${'0'.repeat(400)}x`, false, undefined],
  ['hex', '0x1F', true, '0x1F'],
  ['hex', '1f', true, '1f'],
  ['hex', "'0x10'", false, '0x10'],
  ['hex', '0x', false, undefined],
  ['string', '"a"', true, '"a"'],
  ['string', 'a', false, '"a"'],
  ['string', "'a b'", false, '"a b"'],
  ['string', '"a"b', false, '"a"'],
  ['string', '"a', false, '"a"'],
  ['string', '"a\\', false, '"a"'],
  ['string', '"a\\"', false, '"a\\""'],
  ['string', '"a\\\\"b', false, '"a\\\\"'],
  ['string', 'a"b', false, '"a\\"b"'],
  ['string', '', false, '""'],
  ['string', 'n', false, '""'],
])('%s %j fits: %s, and is written %j', (type, value, fits, spelling) => {
  expect(fitsType(type, value)).toBe(fits);
  const spelled = rightSpelling(type, value);
  expect(spelled).toBe(spelling);
  if (spelled !== undefined) expect(fitsType(type, spelled)).toBe(true);
});

test('values are compared as what they are', () => {
  expect(isSameValue('hex', '0x0A', 'a')).toBe(true);
  expect(isSameValue('int', '-0', '0')).toBe(true);
  expect(isSameValue('int', '010', '10')).toBe(false);
  expect(isSameValue('string', '"a\\"b"', 'a"b')).toBe(true);
  expect(isSameValue('tristate', 'y', 'm')).toBe(false);
  expect(isSameValue('int', '5', '')).toBe(false);
  expect(numberOf('string', '5')).toBeUndefined();
});
