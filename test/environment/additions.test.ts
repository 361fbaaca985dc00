import { describe, expect, it } from 'vitest';

import { resolveAdditions } from '../../src/environment/additions.ts';
import { records, release } from './packages.ts';

/** What is added to a system, `name version`, or what is wrong. */
function added(archive: string, there: string, ...wanted: readonly string[]): readonly string[] {
  const { value, diagnostics } = resolveAdditions(release(archive), wanted, records(there));
  if (diagnostics.length > 0) return diagnostics.map(({ code }) => code);
  return value.map(({ record }) => `${record.package} ${record.version}`);
}

describe('what a system lacks', () => {
  it.each<[string, string, string, readonly string[]]>([
    ['what is there is enough', 'gauge 1', 'gauge 1', []],
    ['an older version is enough', 'gauge 2', 'gauge 1', []],
    ['a newer version is enough', 'gauge 1', 'gauge 2', []],
    ['a system that lacks something itself', 'gauge 1', 'own 7; depends: gone', ['environment/unsatisfied']],
    ['with what it needs', 'gauge 1; depends: float\nfloat 1', '', ['float 1', 'gauge 1']],
    ['what it needs is there', 'gauge 1; depends: float\nfloat 2', 'float 1', ['gauge 1']],
    [
      'what it needs is too old',
      'gauge 1; depends: float (>= 2)\nfloat 2',
      'float 1',
      ['float 2', 'gauge 1'],
    ],
    [
      'what is replaced needs more',
      'gauge 1; depends: float (>= 2)\nfloat 2; depends: rope\nrope 1',
      'float 1',
      ['float 2', 'gauge 1', 'rope 1'],
    ],
    [
      'what goes with it goes along',
      'gauge 1; depends: float (= 2)\nfloat 2\nlid 2; depends: float (= 2)',
      'float 1\nlid 1; depends: float (= 1)',
      ['float 2', 'gauge 1', 'lid 2'],
    ],
    [
      'what it needs is too new',
      'gauge 1; depends: float (= 1)\nfloat 1',
      'float 2',
      ['environment/unsatisfied'],
    ],
    [
      'another way is there',
      'gauge 1; depends: float (>= 2) | cork\nfloat 2\ncork 1',
      'float 1\ncork 1',
      ['gauge 1'],
    ],
    [
      'the first way is taken, though it is to be replaced',
      'gauge 1; depends: float (>= 2) | cork\nfloat 2\ncork 1',
      'float 1',
      ['float 2', 'gauge 1'],
    ],
    [
      'what is in the way is replaced',
      'gauge 1; breaks: float (<< 2)\nfloat 2',
      'float 1',
      ['float 2', 'gauge 1'],
    ],
    [
      'what does not suffer it is replaced',
      'gauge 2\nfloat 2',
      'float 1; conflicts: gauge (>= 2)',
      ['float 2', 'gauge 2'],
    ],
    ['nothing is taken away', 'gauge 1; conflicts: float', 'float 1', ['environment/conflict']],
    ['something virtual is there', 'gauge 1; depends: awk', 'mawk 1; provides: awk', ['gauge 1']],
    ['the Essential ones come along', 'gauge 1\nsh 1; essential', '', ['gauge 1', 'sh 1']],
  ])('%s', (_, archive, there, expected) => {
    expect(added(archive, there, 'gauge')).toEqual(expected);
  });

  it('is never unpacked by hand', () => {
    const { value } = resolveAdditions(release('sh 1; essential'), [], []);
    expect(value.map(({ essential }) => essential)).toEqual([false]);
  });
});
