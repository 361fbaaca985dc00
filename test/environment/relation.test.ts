import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { formatClause, parseRelations } from '../../src/environment/relation.ts';

describe('parseRelations', () => {
  // Debian Policy section 7.1
  it.each<[string, unknown]>([
    ['', []],
    ['gauge', [[{ name: 'gauge' }]]],
    ['gauge,otter', [[{ name: 'gauge' }], [{ name: 'otter' }]]],
    ['gauge, otter,', [[{ name: 'gauge' }], [{ name: 'otter' }]]],
    ['gauge | otter', [[{ name: 'gauge' }, { name: 'otter' }]]],
    ['gauge (>= 1.0-2)', [[{ name: 'gauge', relation: '>=', version: '1.0-2' }]]],
    ['gauge(<<2:1~rc1)', [[{ name: 'gauge', relation: '<<', version: '2:1~rc1' }]]],
    ['gauge ( = 1 )', [[{ name: 'gauge', relation: '=', version: '1' }]]],
    [
      'gauge (> 1), otter (< 2)',
      [[{ name: 'gauge', relation: '>=', version: '1' }], [{ name: 'otter', relation: '<=', version: '2' }]],
    ],
    ['python3:any (>= 3.5~)', [[{ name: 'python3', qualifier: 'any', relation: '>=', version: '3.5~' }]]],
    ['g++-12\n,\n libstdc++6', [[{ name: 'g++-12' }], [{ name: 'libstdc++6' }]]],
  ])('%j', (text, clauses) => {
    expect(parseRelations(text)).toEqual({ clauses });
  });

  it.each([
    ['gauge otter', 'gauge otter'],
    ['otter, gauge (>= )', 'gauge (>= )'],
    ['gauge (1.0)', 'gauge (1.0)'],
    ['gauge [amd64]', 'gauge [amd64]'],
    ['gauge | ', ''],
    ['-gauge', '-gauge'],
    ['gauge; rm -rf', 'gauge; rm -rf'],
  ])('%j cannot be read', (text, malformed) => {
    expect(parseRelations(text).malformed).toBe(malformed);
  });

  it('reads back what it writes', () => {
    const alternative = fc
      .record(
        {
          name: fc.stringMatching(/^[a-z][a-z0-9+.-]{1,8}$/),
          qualifier: fc.constantFrom('any', 'native', 'amd64'),
          relation: fc.constantFrom('<<', '<=', '=', '>=', '>>'),
        },
        { requiredKeys: ['name'] },
      )
      .map((one) => ('relation' in one ? { ...one, version: '1.0-1' } : one));
    fc.assert(
      fc.property(
        fc.array(fc.array(alternative, { minLength: 1, maxLength: 3 }), { maxLength: 3 }),
        (clauses) => {
          expect(parseRelations(clauses.map((clause) => formatClause(clause)).join(', '))).toEqual({
            clauses,
          });
        },
      ),
    );
  });
});
