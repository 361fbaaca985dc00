import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { indexLines, lineText, positionAt } from '../../src/diagnostics/line-column.ts';

describe('positionAt', () => {
  const text = 'one\ntwo\r\nthree\rfour\n';
  test.each([
    [0, 1, 1],
    [2, 1, 3],
    [3, 1, 4],
    [4, 2, 1],
    [7, 2, 4],
    [9, 3, 1],
    [15, 4, 1],
    [19, 4, 5],
    [20, 5, 1],
    [99, 5, 1],
    [-1, 1, 1],
  ])('offset %i is line %i, column %i', (offset, line, column) => {
    expect(positionAt(indexLines(text), offset)).toEqual({ line, column });
  });

  test('agrees with counting the breaks before the offset', () => {
    const texts = fc.string({ unit: fc.constantFrom('a', '\n', '\r', 'é', '𐌰') });
    fc.assert(
      fc.property(texts, fc.nat(60), (any, offset) => {
        const place = Math.min(offset, any.length);
        // Inside CRLF the line has not ended yet.
        const inside = any[place - 1] === '\r' && any[place] === '\n';
        const lines = any.slice(0, inside ? place - 1 : place).split(/\r\n|\n|\r/);
        const column = (lines.at(-1)?.length ?? 0) + 1 + (inside ? 1 : 0);
        expect(positionAt(indexLines(any), place)).toEqual({ line: lines.length, column });
      }),
    );
  });
});

test('lineText gives a line without its break, and nothing for a line that is not there', () => {
  const index = indexLines('a\r\nb\n\nc');
  expect([1, 2, 3, 4, 5, 0].map((line) => lineText(index, line))).toEqual(['a', 'b', '', 'c', '', '']);
});
