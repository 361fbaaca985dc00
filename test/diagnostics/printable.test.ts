import { describe, expect, test } from 'vitest';
import { printable, quoted } from '../../src/diagnostics/printable.ts';

describe('printable', () => {
  test.each([
    ['plain', 'plain'],
    ['grün 水 🦦', 'grün 水 🦦'],
    ['a\nb\tc\r', 'a\\nb\\tc\\r'],
    ['\u001b]0;x\u0007', '\\x1b]0;x\\x07'],
    ['\u0000\u007f\u0085\u009b', '\\x00\\x7f\\x85\\x9b'],
    ['\u200b\u2028\u2066\ufeff', '\\u200b\\u2028\\u2066\\ufeff'],
    ['\u{e0041}', '\\u{e0041}'],
  ])('%j becomes %s', (text, expected) => {
    expect(printable(text)).toBe(expected);
  });
});

test('quoted keeps the beginning and the end of a long text', () => {
  expect(quoted('short')).toBe('`short`');
  expect(quoted(`${'a'.repeat(100)}${'z'.repeat(100)}`)).toBe(`\`${'a'.repeat(29)}…${'z'.repeat(29)}\``);
  expect([...quoted('x'.repeat(1e6), 21)]).toHaveLength(23);
});
