import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { formatTable, median, ratio } from './figures.ts';

describe('the median', () => {
  it.each([
    [[3], 3],
    [[1, 2], 1.5],
    [[10, 9, 1], 9],
    [[4, 1, 3, 2], 2.5],
    // as text, 10 would come before 9
    [[9, 10, 11], 10],
    [[1.02, 0.99, 1.5], 1.02],
  ])('of %j is %d', (figures, middle) => {
    expect(median(figures)).toBe(middle);
  });

  it('has as many figures above it as below, whatever their order', () => {
    // of the two zeros there is one
    const figure = fc.double({ min: -1e6, max: 1e6, noNaN: true }).map((one) => one + 0);
    fc.assert(
      fc.property(fc.array(figure, { minLength: 1 }), (figures) => {
        const middle = median(figures);
        const half = figures.length / 2;
        expect(figures.filter((one) => one < middle).length).toBeLessThanOrEqual(half);
        expect(figures.filter((one) => one > middle).length).toBeLessThanOrEqual(half);
        expect(median(figures.toReversed())).toBe(middle);
      }),
    );
  });

  it('of nothing there is none', () => {
    expect(() => median([])).toThrow(RangeError);
  });
});

describe('the ratio', () => {
  it('is that of the first to the second', () => {
    expect(ratio(103, 100)).toBe(1.03);
  });

  it.each([0, -1, Number.NaN])('to %d says nothing', (base) => {
    expect(() => ratio(1, base)).toThrow(RangeError);
  });
});

describe('the table', () => {
  it('has its figures one below the other', () => {
    const table = formatTable(
      ['seconds', 'CPU', 'ratio'],
      [
        ['through Quern', '412.10', '1.01'],
        ['by hand', '9.5'],
      ],
    );
    expect(table).toBe(
      [
        'seconds            CPU   ratio',
        '------------------------------',
        'through Quern   412.10    1.01',
        'by hand            9.5',
        '',
      ].join('\n'),
    );
  });
});
