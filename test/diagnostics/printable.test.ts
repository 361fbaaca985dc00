import fc from 'fast-check';
import { spawnSync } from 'node:child_process';

import { describe, expect, test } from 'vitest';

import { printable, quoted, shellTyped } from '../../src/diagnostics/printable.ts';

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

test('of a very long text only its ends are looked at, which makes no difference', () => {
  const characters = fc.constantFrom('a', '\n', '\u001b', 'ü', '水', '🦦', '\ud83e', '\udda6', '\u{e0041}');
  fc.assert(
    fc.property(
      fc.array(characters, { minLength: 90, maxLength: 200 }),
      fc.integer({ min: 5, max: 20 }),
      (list, limit) => {
        const text = list.join('');
        const all = [...printable(text)];
        const kept = Math.floor((limit - 1) / 2);
        expect(quoted(text, limit)).toBe(`\`${all.slice(0, kept).join('')}…${all.slice(-kept).join('')}\``);
      },
    ),
  );
});

describe('shellTyped', () => {
  test.each([
    ['out/kit', 'out/kit'],
    ['größe.yaml', 'größe.yaml'],
    ['kit 2', "'kit 2'"],
    ["otter's bank", "'otter'\\''s bank'"],
    ['$(reboot)', "'$(reboot)'"],
    ['~/kit', "'~/kit'"],
    ['=kit', "'=kit'"],
    ['', "''"],
  ])('%j is typed as %s', (text, typed) => {
    expect(shellTyped(text)).toBe(typed);
    // the shell itself as referee
    const { stdout } = spawnSync('sh', ['-c', `printf %s ${typed}`], { encoding: 'utf8' });
    expect(stdout).toBe(text);
  });

  test('what moves the cursor does not get through', () => {
    expect(shellTyped('a\u001b[2Jb')).toBe("'a\\x1b[2Jb'");
  });
});
