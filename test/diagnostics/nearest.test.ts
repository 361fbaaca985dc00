import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { distance, nearest } from '../../src/diagnostics/nearest.ts';

describe('distance', () => {
  // The first three are the examples of Levenshtein and Damerau distance found in every textbook (common knowledge).
  test.each([
    ['kitten', 'sitting', 3],
    ['ca', 'abc', 3],
    ['teh', 'the', 1],
    ['', 'abc', 3],
    ['same', 'same', 0],
    ['ab', 'ba', 1],
    ['x86-64', 'x86_64', 1],
  ])('%s to %s is %i', (left, right, steps) => {
    expect(distance(left, right)).toBe(steps);
    expect(distance(right, left)).toBe(steps);
  });

  test('is between the difference and the maximum of the lengths, and 0 only for equals', () => {
    const word = fc.string({ unit: fc.constantFrom('a', 'b', 'c'), maxLength: 8 });
    fc.assert(
      fc.property(word, word, (left, right) => {
        const steps = distance(left, right);
        expect(steps).toBe(distance(right, left));
        expect(steps).toBeGreaterThanOrEqual(Math.abs(left.length - right.length));
        expect(steps).toBeLessThanOrEqual(Math.max(left.length, right.length));
        expect(steps === 0).toBe(left === right);
      }),
    );
  });
});

describe('nearest', () => {
  const keys = ['name', 'kernel', 'arch', 'config', 'patches', 'fragments', 'environment', 'x86_64'];
  test.each([
    ['kernal', 'kernel'],
    ['Kernel', 'kernel'],
    ['fragment', 'fragments'],
    ['enviroment', 'environment'],
    ['env', 'environment'],
    ['configuration', 'config'],
    ['x86-64', 'x86_64'],
    ['X86_64', 'x86_64'],
    ['patchse', 'patches'],
    ['aarch', 'arch'],
    ['compiler', undefined],
    ['', undefined],
    ['a', undefined],
    ['k'.repeat(1000), undefined],
    ['__proto__', undefined],
  ])('of %s is %s', (word, expected) => {
    expect(nearest(word, keys)).toBe(expected);
  });

  test('prefers the one with equal case among equals', () => {
    expect(nearest('Tty', ['TTY', 'tty', 'Tty'])).toBe('Tty');
    expect(nearest('tty', ['TTY', 'tty'])).toBe('tty');
  });
});
