import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { resolveClosure } from '../../src/environment/closure.ts';
import { satisfiesVersion } from '../../src/environment/debian-version.ts';
import type { PackageRecord } from '../../src/environment/package-record.ts';
import { formatClause, parseRelations, type Alternative } from '../../src/environment/relation.ts';
import { release } from './packages.ts';

/** The names of a closure: essential ones with an exclamation mark. */
function closureOf(lines: string, ...wanted: readonly string[]): string {
  const { value, diagnostics } = resolveClosure(release(lines), wanted);
  expect(diagnostics).toEqual([]);
  return value.map(({ record, essential }) => record.package + (essential ? '!' : '')).join(' ');
}

function errorsOf(lines: string, ...wanted: readonly string[]): readonly string[] {
  return resolveClosure(release(lines), wanted).diagnostics.map(({ code, message, notes }) =>
    [`${code}: ${message}`, ...notes].join('\n'),
  );
}

describe('resolveClosure', () => {
  it.each<[string, string, readonly string[], string]>([
    ['nothing but the Essential packages', 'sh; essential\ngauge', [], 'sh!'],
    ['dependencies of dependencies', 'aa; depends: bb\nbb; pre-depends: cc\ncc\ndd', ['aa'], 'aa bb cc'],
    [
      'what Essential packages need',
      'sh; essential; depends: libc\nlibc\naa; depends: libc',
      ['aa'],
      'aa libc! sh!',
    ],
    ['circles', 'aa; depends: bb\nbb; depends: aa', ['aa'], 'aa bb'],
    ['a package that needs itself', 'aa; depends: aa', ['aa'], 'aa'],
    ['no recommendations', 'aa; recommends: bb; suggests: cc\nbb\ncc', ['aa'], 'aa'],
    ['a package wanted twice', 'aa\nbb', ['aa', 'aa'], 'aa'],

    ['the first alternative', 'aa; depends: bb | cc\nbb\ncc', ['aa'], 'aa bb'],
    ['the second when the first is not there', 'aa; depends: bb | cc\ncc', ['aa'], 'aa cc'],
    ['the second when the first is too old', 'aa; depends: bb (>= 2) | cc\nbb\ncc', ['aa'], 'aa cc'],
    [
      'the second when the first cannot be installed',
      'aa; depends: bb | cc\nbb; depends: xx\ncc',
      ['aa'],
      'aa cc',
    ],
    ['an alternative that is wanted anyway', 'aa; depends: bb | cc\nbb\ncc', ['aa', 'cc'], 'aa cc'],
    [
      'an alternative that was chosen before',
      'aa; depends: cc, dd\ndd; depends: bb | cc\nbb\ncc',
      ['aa'],
      'aa cc dd',
    ],
    [
      'nothing of an alternative given up',
      'aa; depends: bb | cc\nbb; depends: ee, xx\ncc\nee',
      ['aa'],
      'aa cc',
    ],

    [
      'the real package before a provider',
      'aa; depends: mm\nbb; provides: mm; priority: required\nmm',
      ['aa'],
      'aa mm',
    ],
    ['a provider', 'aa; depends: mm\nbb; provides: mm', ['aa'], 'aa bb'],
    [
      'the provider of higher priority',
      'aa; depends: mm\nbb; provides: mm; priority: extra\ncc; provides: mm; priority: important\ndd; provides: mm',
      ['aa'],
      'aa cc',
    ],
    [
      'a provider that is Essential',
      'aa; depends: mm\nbb; provides: mm\ncc; provides: mm; essential',
      ['aa'],
      'aa cc!',
    ],
    [
      'a provider that names the version',
      'aa; depends: mm (>= 2)\nbb; provides: mm\ncc; provides: mm (= 2)',
      ['aa'],
      'aa cc',
    ],
    [
      'a wanted provider',
      'aa; depends: mm\nbb; provides: mm; priority: required\ncc; provides: mm',
      ['aa', 'cc'],
      'aa cc',
    ],
    ['a provider of the first alternative', 'aa; depends: mm | cc\nbb; provides: mm\ncc', ['aa'], 'aa bb'],

    [
      'another alternative instead of a conflict',
      'aa; depends: bb | cc\nbb; conflicts: dd\ncc\ndd',
      ['aa', 'dd'],
      'aa cc dd',
    ],
    [
      'another alternative when the conflict is named there',
      'aa; depends: dd, bb | cc\nbb\ncc\ndd; breaks: bb',
      ['aa'],
      'aa cc dd',
    ],
    ['a conflict with older versions alone', 'aa 2; depends: bb\nbb 2; breaks: aa (<< 2)', ['aa'], 'aa bb'],
    ['aa package that conflicts with what it provides', 'aa; provides: mm; conflicts: mm', ['aa'], 'aa'],
    [
      'nothing that relies on a package given up',
      'aa; depends: bb | cc | dd\nbb; depends: cc, xx\ncc; depends: bb\ndd',
      ['aa'],
      'aa dd',
    ],
    [
      'another way for what relied on a package given up',
      'aa; depends: bb | cc\nbb; depends: cc, xx\ncc; depends: bb | dd\ndd',
      ['aa'],
      'aa cc dd',
    ],
  ])('%s', (_, lines, wanted, expected) => {
    expect(closureOf(lines, ...wanted)).toBe(expected);
  });

  it('takes the newest version, and its dependencies, not those of older ones', () => {
    const index = release('aa 1; depends: bb\nbb', 'aa 2; depends: cc\ncc');
    const { value } = resolveClosure(index, ['aa']);
    expect(value.map(({ record }) => `${record.package} ${record.version}`)).toEqual(['aa 2', 'cc 1.0']);
  });

  it('says for whose sake a package is there', () => {
    const { value } = resolveClosure(release('aa; depends: bb\nbb; depends: cc\ncc'), ['aa']);
    expect(value.map((one) => one.neededBy)).toEqual([undefined, 'aa', 'bb']);
  });

  it('does not depend on the order in which suites list their packages', () => {
    const lines = ['aa; depends: bb | cc, dd', 'bb; depends: xx', 'cc', 'dd; depends: cc'];
    const forwards = resolveClosure(release(lines.join('\n')), ['aa']).value;
    const backwards = resolveClosure(release(lines.toReversed().join('\n')), ['aa']).value;
    expect(backwards).toEqual(forwards);
  });

  it('stands a chain that is a thousand packages long', () => {
    const lines = Array.from({ length: 1000 }, (_, place) => `p${place}; depends: p${place + 1}`);
    expect(resolveClosure(release(`${lines.join('\n')}\np1000`), ['p0']).value).toHaveLength(1001);
  });
});

describe('resolveClosure in any release', () => {
  const names = ['p0', 'p1', 'p2', 'p3', 'p4', 'p5', 'p6', 'p7'];
  const target = fc
    .tuple(fc.constantFrom(...names, 'v0', 'v1'), fc.constantFrom('', ' (>= 2)', ' (<< 3)'))
    .map((parts) => parts.join(''));
  const list = (of: fc.Arbitrary<string>, most: number): fc.Arbitrary<string> =>
    fc.array(of, { maxLength: most }).map((parts) => parts.join(', '));
  const clause = fc.array(target, { minLength: 1, maxLength: 3 }).map((parts) => parts.join(' | '));
  const fields = fc.tuple(list(clause, 3), list(target, 1), list(fc.constantFrom('v0', 'v1 (= 2)'), 2));
  const universe = fc
    .array(fc.tuple(fc.constantFrom('1', '2', '3'), fields), {
      minLength: names.length,
      maxLength: names.length,
    })
    .map((packages) =>
      packages
        .map(([version, [depends, conflicts, provides]], place) =>
          [
            `${names[place] ?? ''} ${version}`,
            ...(depends === '' ? [] : [`depends: ${depends}`]),
            ...(conflicts === '' ? [] : [`conflicts: ${conflicts}`]),
            ...(provides === '' ? [] : [`provides: ${provides}`]),
          ].join('; '),
        )
        .join('\n'),
    );

  /** Debian Policy chapter 7, read once more and without any cleverness: what is wrong with a set of packages. */
  function faultsOf(packages: readonly PackageRecord[]): readonly string[] {
    const isThere = (one: Alternative, except?: PackageRecord): boolean =>
      packages.some((record) => {
        if (record === except) return false;
        const things = [{ name: record.package, version: record.version }, ...record.provides];
        return things.some(({ name, version }) => {
          if (name !== one.name) return false;
          if (one.relation === undefined || one.version === undefined) return true;
          return version !== undefined && satisfiesVersion(version, one.relation, one.version);
        });
      });
    return packages.flatMap((record) => [
      ...parseRelations(record.depends)
        .clauses.filter((alternatives) => !alternatives.some((one) => isThere(one)))
        .map((alternatives) => `${record.package} lacks ${formatClause(alternatives)}`),
      ...parseRelations(record.conflicts)
        .clauses.flat()
        .filter((one) => isThere(one, record))
        .map((one) => `${record.package} conflicts with ${one.name}`),
    ]);
  }

  it('gives a set that has what it needs and no conflict, or says that it cannot', () => {
    let good = 0;
    fc.assert(
      fc.property(universe, fc.subarray(names, { minLength: 1, maxLength: 2 }), (lines, wanted) => {
        const { value, diagnostics } = resolveClosure(release(lines), wanted);
        const found = value.map(({ record }) => record.package);
        expect(found).toEqual(expect.arrayContaining(wanted));
        if (diagnostics.length > 0) return;
        good += 1;
        expect(faultsOf(value.map(({ record }) => record))).toEqual([]);
      }),
      { numRuns: 500 },
    );
    expect(good).toBeGreaterThan(50);
  });
});

describe('resolveClosure, when it cannot be', () => {
  it('names a package that is not there, and what was meant', () => {
    const [report] = resolveClosure(release('gauge-tools\notter'), ['gauge-tool']).diagnostics;
    expect(report).toMatchObject({
      code: 'environment/no-such-package',
      exit: 2,
      message: 'there is no package `gauge-tool` for amd64',
      help: 'Did you mean `gauge-tools`?',
    });
  });

  it('names the versions there are of a compiler that is called after its own', () => {
    const index = release('gcc-12\ngcc-9\ngcc-11\ng++-11\ngcc-12-base\ngcc-9-doc\ngcc-11-plugin-dev');
    expect(resolveClosure(index, ['gcc-99']).diagnostics).toMatchObject([
      { code: 'environment/no-such-package', help: 'The release has gcc-9, gcc-11, gcc-12.' },
    ]);
    expect(resolveClosure(index, ['g++-99']).diagnostics).toMatchObject([
      { help: 'The release has g++-11.' },
    ]);
    expect(resolveClosure(index, ['gcc-99-plugin-dev']).diagnostics).toMatchObject([
      { help: 'The release has gcc-11-plugin-dev.' },
    ]);
  });

  it('says who provides a virtual package', () => {
    expect(errorsOf('mawk; provides: awk\ngawk; provides: awk', 'awk')).toEqual([
      'environment/no-such-package: there is no package `awk` for amd64\nIt is a virtual package, provided by mawk, gawk.',
    ]);
  });

  it('names the dependency and the chain that leads to it', () => {
    expect(
      errorsOf('aa; depends: bb\nbb 2; depends: cc\ncc 3; depends: libotter (>= 4)\nlibotter 3.9', 'aa'),
    ).toEqual([
      [
        'environment/unsatisfied: cc 3 needs libotter (>= 4), which cannot be installed',
        'libotter is there as version 3.9, which is too old for libotter (>= 4).',
        'It is there because of aa → bb → cc.',
      ].join('\n'),
    ]);
  });

  it.each<[string, string, string]>([
    ['nothing of the name', 'aa; depends: xx', 'xx is not in the release, and no package provides it.'],
    [
      'a version too high',
      'aa; depends: xx (<< 1)\nxx 1',
      'xx is there as version 1, which is too new for xx (<< 1).',
    ],
    [
      'a provider without version',
      'aa; depends: xx (>= 1)\nyy; provides: xx',
      'xx is provided by yy, but not as xx (>= 1).',
    ],
    [
      'another architecture',
      'aa; depends: xx:arm64\nxx',
      'xx is there for amd64, but not as xx:arm64 asks for it.',
    ],
  ])('says why: %s', (_, lines, note) => {
    expect(errorsOf(lines, 'aa')[0]?.split('\n')[1]).toBe(note);
  });

  it('says of each alternative why it was given up', () => {
    const lines = 'aa; depends: bb | mm\nbb; depends: xx\ncc; provides: mm; conflicts: aa';
    expect(errorsOf(lines, 'aa')).toEqual([
      [
        'environment/unsatisfied: aa 1.0 needs bb | mm, which cannot be installed',
        'bb 1.0 needs xx, which cannot be installed.',
        'xx is not in the release, and no package provides it.',
        'cc 1.0 conflicts with aa 1.0, which is needed.',
      ].join('\n'),
    ]);
  });

  it('names everything that is wrong in one go', () => {
    expect(errorsOf('aa; depends: xx\nbb; depends: yy\ncc', 'aa', 'bb', 'cc', 'dd')).toHaveLength(3);
  });

  it('names two wanted packages that conflict, once', () => {
    expect(errorsOf('aa; conflicts: bb\nbb; conflicts: aa', 'aa', 'bb')).toEqual([
      'environment/conflict: aa 1.0 and bb 1.0 cannot be installed together',
    ]);
  });

  it('names a conflict between things that have to be there', () => {
    expect(errorsOf('aa; depends: cc\nbb; depends: dd\ncc; breaks: dd\ndd', 'aa', 'bb')).toEqual([
      'environment/conflict: dd 1.0 and cc 1.0 cannot be installed together\nIt is there because of bb → dd.',
    ]);
  });

  it('goes round no circle of refusals', () => {
    const lines = 'aa; depends: bb | zz\nbb; depends: cc | zz\ncc; depends: bb, xx';
    expect(errorsOf(lines, 'aa')).toHaveLength(1);
  });

  it('finds out that what was chosen relies on a package given up later', () => {
    const lines = 'aa; depends: bb | cc\nbb; depends: cc, xx\ncc; depends: bb';
    expect(errorsOf(lines, 'aa')).toHaveLength(1);
  });

  it('reports a dependency that cannot be read', () => {
    expect(errorsOf('aa; depends: bb cc', 'aa')).toEqual([
      'environment/bad-relation: the dependency `bb cc` of aa 1.0 cannot be read',
    ]);
  });
});
