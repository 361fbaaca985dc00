import fc from 'fast-check';
import { expect, it } from 'vitest';

import { decodeLatin1, encodeLatin1 } from '../../src/kconfig/latin1.ts';

it('gives one character for each byte, and back, as Node does', () => {
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 300 }), (bytes) => {
      const text = decodeLatin1(bytes);
      expect(text).toBe(Buffer.from(bytes).toString('latin1'));
      expect(encodeLatin1(text)).toEqual(bytes);
    }),
  );
});

it.each<[string, readonly number[]]>([
  ['every byte', Array.from({ length: 256 }, (_, byte) => byte)],
  ['a byte order mark', [0xef, 0xbb, 0xbf, 0x41]],
  ['UTF-8 of two bytes', [0x41, 0xc3, 0xa4]],
  ['the replacement character itself', [0xef, 0xbf, 0xbd]],
  ['a broken sequence', [0xe2, 0x82]],
  ['more than one call takes', Array.from({ length: 20_000 }, (_, at) => 128 + (at % 128))],
])('keeps %s', (_, list) => {
  const bytes = Uint8Array.from(list);
  expect(decodeLatin1(bytes)).toBe(Buffer.from(bytes).toString('latin1'));
});

it('refuses what is no byte', () => {
  expect(() => encodeLatin1('otter 🦦')).toThrow(RangeError);
});
