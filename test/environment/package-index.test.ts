import { describe, expect, it } from 'vitest';

import { solutionsOf } from '../../src/environment/package-index.ts';
import { parseRelations } from '../../src/environment/relation.ts';
import { release } from './packages.ts';

describe('mergePackages', () => {
  it('takes the highest version of all suites', () => {
    const index = release('gauge 1.2\notter 2.0', 'gauge 1.10', 'gauge 1.9\notter 2.0~rc1');
    expect([...index.candidates.values()].map((one) => `${one.package} ${one.version}`)).toEqual([
      'gauge 1.10',
      'otter 2.0',
    ]);
  });

  it('forgets what an older version provides', () => {
    const index = release('gauge 1; provides: meter', 'gauge 2');
    expect(index.providers.get('meter')).toBeUndefined();
  });

  it('leaves out other architectures, and keeps what fits all', () => {
    const index = release('gauge 1\ngauge-arm 1; architecture: arm64\ngauge-doc 1; architecture: all');
    expect([...index.candidates.keys()]).toEqual(['gauge', 'gauge-doc']);
  });
});

describe('solutionsOf', () => {
  const index = release(`
    gauge 1.5
    digital-gauge 3.0; provides: gauge (= 2.0), meter
    analog-gauge 1.0; provides: gauge, meter (= 7)
    perl 5.36; multi-arch: allowed
    perl-like 1.0; multi-arch: allowed; provides: perl-api (= 5)
    plain-perl 1.0; provides: perl-api (= 5)
    shell-any 1.0; provides: shell:any
  `);

  it.each<[string, readonly string[]]>([
    ['gauge', ['gauge', 'digital-gauge', 'analog-gauge']],
    ['gauge (>= 1.5)', ['gauge', 'digital-gauge']],
    ['gauge (= 2.0)', ['digital-gauge']],
    ['gauge (>> 2.0)', []],
    ['meter', ['digital-gauge', 'analog-gauge']],
    ['meter (>= 7)', ['analog-gauge']],
    ['nothing', []],
    ['gauge:amd64', ['gauge', 'digital-gauge', 'analog-gauge']],
    ['gauge:native', ['gauge', 'digital-gauge', 'analog-gauge']],
    ['gauge:arm64', []],
    ['gauge:any', []],
    ['perl:any (>= 5)', ['perl']],
    ['perl', ['perl']],
    ['perl-api', ['perl-like', 'plain-perl']],
    ['perl-api:any', ['perl-like']],
    ['shell:any', ['shell-any']],
    ['shell', []],
  ])('%s', (text, expected) => {
    const [alternative] = parseRelations(text).clauses.flat();
    if (!alternative) throw new Error(text);
    expect(solutionsOf(index, alternative).map((one) => one.package)).toEqual(expected);
  });
});
