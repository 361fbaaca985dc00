import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { formatConfigLine, readConfigLine, readDotConfig } from '../../src/kconfig/dot-config.ts';
import { quoteString, unquoteString } from '../../src/kconfig/quote.ts';

// Rules of scripts/kconfig/confdata.c (conf_read_simple, escape_string_value) of Linux 6.1 and 6.12.
describe('readConfigLine', () => {
  test.each([
    ['CONFIG_CRC7=m', 'CRC7', 'm'],
    ['CONFIG_64BIT=y\r', '64BIT', 'y'],
    ['CONFIG_A=n', 'A', 'n'],
    ['CONFIG_A=', 'A', ''],
    ['CONFIG_A="a=b # c"', 'A', '"a=b # c"'],
    ['CONFIG_A=0x10', 'A', '0x10'],
    ['CONFIG_A="\u2028\x85"', 'A', '"\u2028\x85"'],
    ['# CONFIG_A is not set', 'A', 'n'],
    ['# CONFIG_A is not set\r', 'A', 'n'],
  ])('%j gives %s the value %s', (line, option, value) => {
    expect(readConfigLine(line)).toEqual({ kind: 'value', option, value });
  });

  test.each([
    ['', 'comment'],
    ['\r', 'comment'],
    ['# a comment', 'comment'],
    ['#CONFIG_A is not set', 'comment'],
    ['# CONFIG_A is not set ', 'comment'],
    ['# CONFIG_A=y', 'comment'],
    [' CONFIG_A=y', 'stray'],
    ['CONFIG_A', 'stray'],
    ['CONFIG_A =y', 'stray'],
    ['A=y', 'stray'],
    ['CONFIG_=y', 'stray'],
  ])('%j is a %s', (line, kind) => {
    expect(readConfigLine(line).kind).toBe(kind);
  });
});

test('the last line of an option counts; all of them are kept with their lines', () => {
  const config = readDotConfig(
    '#\n# Automatically generated file; DO NOT EDIT.\nCONFIG_A=y\n\nCONFIG_B="x"\n# CONFIG_A is not set\njunk',
  );
  expect(config.entries).toEqual([
    { option: 'A', value: 'y', line: 3 },
    { option: 'B', value: '"x"', line: 5 },
    { option: 'A', value: 'n', line: 6 },
  ]);
  expect(config.get('A')).toBe('n');
  expect(config.entry('B')?.line).toBe(5);
  expect(config.get('C')).toBeUndefined();
  expect(config.get('constructor')).toBeUndefined();
});

test('what is written is read again', () => {
  const option = fc.string({ unit: fc.constantFrom(...'ABZ019_ab'), minLength: 1 });
  const value = fc.oneof(
    fc.constantFrom('y', 'm', 'n', '16', '0x1F', ''),
    fc
      .string({ unit: fc.integer({ min: 32, max: 255 }).map((byte) => String.fromCharCode(byte)) })
      .map(quoteString),
  );
  fc.assert(
    fc.property(fc.array(fc.tuple(option, value)), (pairs) => {
      const text = pairs.map((pair) => `${formatConfigLine(...pair)}\n`).join('');
      expect(readDotConfig(text).entries.map((entry) => [entry.option, entry.value])).toEqual(pairs);
    }),
  );
});

describe('quoteString', () => {
  test.each([
    ['', '""'],
    ['otter-bank', '"otter-bank"'],
    ['a"b', String.raw`"a\"b"`],
    ['a\\b', String.raw`"a\\b"`],
    ['$(id) `id` $&', '"$(id) `id` $&"'],
  ])('%j is %s', (text, quoted) => {
    expect(quoteString(text)).toBe(quoted);
  });

  test('and back', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'binary' }), (text) => {
        expect(unquoteString(quoteString(text))).toBe(text);
      }),
    );
  });

  test.each(['', 'a', '"', '"a', 'a"', '"a"b', '"a\\"', "'a'", '"a"b"'])('%j is no string', (value) => {
    expect(unquoteString(value)).toBeUndefined();
  });

  test('any escaped character stands for itself, as in the kernel', () => {
    expect(unquoteString(String.raw`"\a\n"`)).toBe('an');
  });
});
