import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { lineSplitter } from '../../src/host/line-splitter.ts';

const encode = (text: string): Uint8Array => new TextEncoder().encode(text);

function linesOf(chunks: readonly Uint8Array[], limit?: number): string[] {
  const lines: string[] = [];
  const splitter = lineSplitter((line) => lines.push(line), limit);
  for (const chunk of chunks) splitter.push(chunk);
  splitter.end();
  return lines;
}

describe('lines', () => {
  it.each<[string, string[], string[]]>([
    ['one chunk', ['a\nb\n'], ['a', 'b']],
    ['no line break at the end', ['a\nb'], ['a', 'b']],
    ['nothing', [''], []],
    ['empty lines', ['a\n\n\nb\n'], ['a', '', '', 'b']],
    ['a line in pieces', ['al', 'p', 'ha\nbe', 'ta\n'], ['alpha', 'beta']],
    ['CR LF', ['a\r\nb\r\n'], ['a', 'b']],
    ['CR LF cut in two', ['a\r', '\nb'], ['a', 'b']],
    ['CR LF cut in two, with nothing in between', ['a\r', '', '\nb'], ['a', 'b']],
    ['CR CR LF, as terminals behind terminals send it', ['a\r\r\nb'], ['a', 'b']],
    ['CR CR LF in three pieces', ['a\r', '\r', '\nb'], ['a', 'b']],
    ['redrawn progress', ['1 %\r', '2 %\r', '3 %\n'], ['1 %', '2 %', '3 %']],
    ['an empty line after CR LF in two pieces', ['a\r', '\n\nb'], ['a', '', 'b']],
    ['colours', ['\u001b[1;31merror\u001b[0m: \u001b[mx'], ['error: x']],
    ['a tab stays', ['a\tb\n'], ['a\tb']],
    [
      'other control characters',
      ['\u001b[2Ja\u0007\u0000\u009b\u202eb\n'],
      [String.raw`\x1b[2Ja\x07\x00\x9b\u202eb`],
    ],
    ['a byte order mark is seen', ['\ufeffa\n'], [String.raw`\ufeffa`]],
  ])('%s', (_, chunks, lines) => {
    expect(linesOf(chunks.map(encode))).toEqual(lines);
  });

  it('takes a character that is cut by a chunk', () => {
    const bytes = encode('höhe 🦦\n');
    expect(linesOf([...bytes].map((byte) => Uint8Array.of(byte)))).toEqual(['höhe 🦦']);
  });

  it('shows bytes that are no UTF-8', () => {
    expect(linesOf([Uint8Array.of(0x61, 0xff, 0x62, 0x0a)])).toEqual(['a\ufffdb']);
  });

  it('hands a very long line over in pieces and loses nothing', () => {
    const chunks = Array.from({ length: 100 }, () => encode('x'.repeat(1000)));
    const lines = linesOf(chunks, 4096);
    expect(lines.join('')).toBe('x'.repeat(100_000));
    expect(Math.max(...lines.map((line) => line.length))).toBe(4096);
  });

  it('does not cut a character in two', () => {
    expect(linesOf([encode('🦦🦦🦦')], 3)).toEqual(['🦦', '🦦', '🦦']);
  });

  it('gives the same lines however the bytes are cut', () => {
    const text = fc.string({ unit: fc.constantFrom('a', 'é', '🦦', '\n', '\r', '\t') });
    fc.assert(
      fc.property(text, fc.array(fc.nat({ max: 8 })), (whole, sizes) => {
        const bytes = encode(whole);
        const chunks: Uint8Array[] = [];
        let at = 0;
        for (const size of sizes) chunks.push(bytes.slice(at, (at += size)));
        chunks.push(bytes.slice(at));
        // The straightforward definition, over the whole text at once.
        const expected = whole.split(/\r+\n?|\n/u);
        if (expected.at(-1) === '') expected.pop();
        expect(linesOf(chunks)).toEqual(expected);
      }),
    );
  });
});
