import { spawnSync } from 'node:child_process';

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { plainLine, plainWord, shellWord } from '../../src/kit/quote.ts';

/** What a real POSIX shell makes of some words. Referee: dash, by way of `sh`. */
function throughShell(words: readonly string[]): string {
  const { stdout, status } = spawnSync('sh', [
    '-c',
    `for word in ${words.join(' ')}; do printf '%s\\0' "$word"; done`,
  ]);
  expect(status).toBe(0);
  return stdout.toString('utf8');
}

const line = fc.string({ unit: 'grapheme' }).filter((text) => !/[\0\n\r]/u.test(text));

describe('shellWord', () => {
  it('reaches a shell as the very same text, whatever it is', () => {
    fc.assert(
      fc.property(fc.array(line, { minLength: 1, maxLength: 100 }), (texts) => {
        expect(throughShell(texts.map(shellWord))).toBe(texts.map((text) => `${text}\0`).join(''));
      }),
      { numRuns: 20 },
    );
  });

  it.each([
    "'; touch hit; '",
    '$(touch hit)',
    '`touch hit`',
    '-rf',
    '',
    "'",
    '\\',
    '"$HOME"',
    '{{name}}',
    '\u2028',
  ])('keeps %j as it is', (text) => {
    expect(throughShell([shellWord(text)])).toBe(`${text}\0`);
  });

  it.each(['a\nb', 'a\0b', 'a\rb'])('refuses %j', (text) => {
    expect(() => shellWord(text)).toThrow('not a shell word');
  });
});

describe('plainWord', () => {
  it('accepts what needs no quotes in any place, and nothing else', () => {
    const accepted = fc
      .sample(
        fc.string({
          unit: fc.constantFrom(...'aZ09._~+:/%=@,- \'"$`\\{}()<>|&;*?[]#!\n\u2028é'),
          maxLength: 4,
        }),
        5000,
      )
      .filter((text) => {
        try {
          return plainWord(text) === text;
        } catch {
          return false;
        }
      });
    expect(accepted.length).toBeGreaterThan(100);
    for (const word of accepted) expect(word).toMatch(/^[A-Za-z0-9._~+:/%=@,-]+$/u);
    expect(throughShell(accepted)).toBe(accepted.map((word) => `${word}\0`).join(''));
  });

  it.each(['-x', 'a b', 'a\nb', '$(x)', '', 'a;b', '{{x}}'])('refuses %j', (text) => {
    expect(() => plainWord(text)).toThrow('not a plain word');
  });
});

describe('plainLine', () => {
  it.each(['END', 'a\nb', 'a\u2028b', 'a\x1bb'])('refuses %j', (text) => {
    expect(() => plainLine(text)).toThrow('not a line');
  });

  it('lets a toolchain name itself', () => {
    const gcc = 'gcc (Debian 12.2.0-14+deb12u1) 12.2.0';
    expect(plainLine(gcc)).toBe(gcc);
  });
});
