import fc from 'fast-check';
import { dump, load } from 'js-yaml';
import { describe, expect, test } from 'vitest';
import { nodeAt, plainValue, readYamlTree, type YamlPath } from '../../src/spec/yaml-tree.ts';
import { hostileSpecs } from './hostile.ts';

/** The text of the value, and of its key, at `path`. */
function slices(text: string, path: YamlPath): [string | undefined, string | undefined] {
  const [root] = readYamlTree(text).documents;
  const found = root && nodeAt(root, path);
  const slice = (range?: { start: number; end: number }) => range && text.slice(range.start, range.end);
  return [slice(found?.node), slice(found?.key)];
}

describe('places', () => {
  test.each<[string, YamlPath, string | undefined, string | undefined]>([
    ['a: b', ['a'], 'b', 'a'],
    ['a: "b c"', ['a'], '"b c"', 'a'],
    ["'a b': 'it''s'", ['a b'], "'it''s'", "'a b'"],
    ['a: 0x10 # sixteen', ['a'], '0x10', 'a'],
    ['a:\n  b:\n    - c\n    - d', ['a', 'b', 1], 'd', undefined],
    ['a: {b: [c, {d: e}]}', ['a', 'b', 1, 'd'], 'e', 'd'],
    ['a: {b: [c, {d: e}]}', ['a', 'b'], '[c, {d: e}]', 'b'],
    ['a: [ b , c , ] # d', ['a'], '[ b , c , ]', 'a'],
    ['a: {}\nb: []', ['b'], '[]', 'b'],
    ['{a: 1, "b": {c: 2}}', ['b', 'c'], '2', 'c'],
    ['a:\nb: 1', ['a'], '', 'a'],
    ['a: &x b', ['a'], 'b', 'a'],
    ['? a\n: b', ['a'], 'b', 'a'],
    ['a: |\n  one\n  two\nb: 1', ['a'], '  one\n  two\n', 'a'],
    ['\ufeffa: b', ['a'], 'b', 'a'],
    ['a: b', ['c'], undefined, undefined],
    ['a: b', ['a', 'c'], undefined, undefined],
    ['a: [b]', ['a', 'length'], undefined, undefined],
    ['a: [b]', ['a', 1], undefined, undefined],
    ['a: b', ['constructor'], undefined, undefined],
    ['a: b', [], 'a: b', undefined],
  ])('%j at %j', (text, path, value, key) => {
    expect(slices(text, path)).toEqual([value, key]);
  });
});

describe('problems', () => {
  test.each([
    ['a: 1\na: 2', ['duplicate'], ['a']],
    ['{a: 1, a: 2, a: 3}', ['duplicate', 'duplicate'], ['a', 'a']],
    ['"a": 1\na: 2', ['duplicate'], ['a']],
    ['a: &x 1\nb: *x', ['anchor', 'alias'], ['&x', '*x']],
    ['a: !!str 1', ['tag'], ['!!str']],
    ['a: !<tag:x> [1]', ['tag'], ['!<tag:x>']],
    ['? [a]\n: b', ['key'], ['[a]']],
    ['a: [', ['syntax'], ['']],
    ['a:\n\t- b', ['syntax'], ['\t']],
    ['a: b: c', ['syntax'], [':']],
    ['a: 1', [], []],
  ])('%j has %j', (text, kinds, where) => {
    const { problems } = readYamlTree(text);
    expect(problems.map(({ kind }) => kind)).toEqual(kinds);
    expect(problems.map(({ start, end }) => text.slice(start, end))).toEqual(where);
  });

  test('of a key that stands twice, the first counts and the second is pointed at', () => {
    const text = 'a: 1\nb: 2\na: 3';
    const { documents, problems } = readYamlTree(text);
    expect(documents.map(plainValue)).toEqual([Object.assign(Object.create(null), { a: 1, b: 2 })]);
    expect(problems).toMatchObject([
      { kind: 'duplicate', key: 'a', start: 10, end: 11, first: { start: 0, end: 1 } },
    ]);
  });

  test('depth is limited', () => {
    expect(readYamlTree('['.repeat(1000)).problems).toMatchObject([{ kind: 'syntax' }]);
    expect(readYamlTree(`${'['.repeat(20)}${']'.repeat(20)}`).problems).toEqual([]);
  });
});

/** What js-yaml itself makes of a text, by its own construction of values, which the tree does without. */
function loaded(text: string): unknown {
  try {
    return JSON.stringify(load(text, { maxAliases: 0, maxDepth: 24 }));
  } catch {
    return undefined;
  }
}

function treeValue(text: string): unknown {
  const { documents, problems } = readYamlTree(text);
  const [only, second] = documents;
  return only && !second && problems.length === 0 ? JSON.stringify(plainValue(only)) : undefined;
}

describe('values agree with js-yaml', () => {
  // The examples of the core schema in YAML 1.2.2, section 10.3, and their neighbours.
  const scalars =
    'null Null NULL ~ true True TRUE false False FALSE 0 0o7 0x3A -19 +12 007 0. -0.0 .5 +12e03 -2E+05 1.5e-7 .inf -.Inf +.INF .NAN .nan yes no on off y n Y N 1_000 0b11 1:30 2026-01-01 0X1F 0o8 0xg -0x1 1e 6.10 6.1.2 - 0x10 99999999999999999999'.split(
      ' ',
    );
  test.each(scalars)('scalar %s', (scalar) => {
    const text = `a: [${scalar === '-' ? "'-'" : scalar}]`;
    const [root] = readYamlTree(text).documents;
    expect(root && plainValue(root)).toEqual(load(text));
  });

  // YAML says what a float looks like, not how large it is; js-yaml keeps one that overflows as text.
  test('a number too large is a number', () => {
    expect(readYamlTree('1e999').documents.map(plainValue)).toEqual([Infinity]);
  });

  test('texts made from any JSON value', () => {
    fc.assert(
      fc.property(fc.jsonValue({ maxDepth: 3 }), fc.integer({ min: -1, max: 2 }), (value, flowLevel) => {
        const text = dump(value, { flowLevel });
        const expected = loaded(text);
        // `- -0` and aliases aside, what can be dumped can be read.
        if (expected !== undefined) expect(treeValue(text)).toBe(expected);
      }),
    );
  });

  test('hostile texts: where both read one, they read the same', () => {
    let both = 0;
    for (const text of hostileSpecs(600, 1)) {
      if (text.length > 100_000) continue;
      const tree = treeValue(text);
      if (tree === undefined) continue;
      both += 1;
      const expected = String(loaded(text));
      // Of a key that is no text js-yaml makes one by its value, and the tree keeps what is written.
      if (/"(?:null|NaN|-?Infinity|true|false|-?[0-9.e+]+)":/u.test(expected)) continue;
      // and it keeps a float that overflows as text, as above
      if (/:"[0-9]+e[0-9]{3,}"/u.test(expected)) continue;
      expect(tree).toBe(expected);
    }
    expect(both).toBeGreaterThan(300);
  });
});
