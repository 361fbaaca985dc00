import fc from 'fast-check';
import { describe, expect, test } from 'vitest';

import { baseConfig, mergeFragment } from '../../src/kconfig/base-config.ts';
import { compose } from '../../src/kconfig/compose.ts';
import { readDotConfig } from '../../src/kconfig/dot-config.ts';
import { lastRequests, type Request } from '../../src/kconfig/requests.ts';
import { modelOf } from './small-tree.ts';

const request = (option: string, value: string, line: number): Request => ({
  option,
  value,
  origin: { file: 'serial.config', line },
});

/** Requests in the notation `CRC7=m`. */
function ask(...texts: string[]): Request[] {
  return texts.map((text, index) => {
    const at = text.indexOf('=');
    return {
      option: text.slice(0, at),
      value: text.slice(at + 1),
      origin: { file: 'x.config', line: index + 1 },
    };
  });
}

describe('putting a configuration together', () => {
  const base = { file: 'defconfig', text: '# head\nCONFIG_A=y\n# CONFIG_B is not set\nCONFIG_C="x"\nstray' };

  test('lines of the base that are asked for again go, and the request comes last', () => {
    const spec: Request = { option: 'C', value: '"z"', origin: { file: 'station.yaml' } };
    const made = compose(base, [request('B', 'y', 1), request('C', '"y"', 2), request('A', 'n', 3), spec]);
    expect(made.text).toBe('# head\nstray\nCONFIG_B=y\n# CONFIG_A is not set\nCONFIG_C="z"\n');
    expect(made.origins).toEqual([
      { file: 'defconfig', line: 1 },
      { file: 'defconfig', line: 5 },
      { file: 'serial.config', line: 1 },
      { file: 'serial.config', line: 3 },
      { file: 'station.yaml' },
    ]);
    expect(made.originOf.get('C')).toEqual({ file: 'station.yaml' });
    expect(made.overridden).toEqual([{ request: request('C', '"y"', 2), by: spec }]);
  });

  test('without requests the base stays as it is', () => {
    const made = compose(base, []);
    expect(made.text).toBe(`${base.text}\n`);
    expect(made.originOf.get('B')).toEqual({ file: 'defconfig', line: 3 });
    expect(compose({ file: 'x', text: '' }, []).text).toBe('');
  });

  test('a line break cannot smuggle in another request', () => {
    expect(() => compose(base, [request('A', '"x\nCONFIG_B=y"', 1)])).toThrow('line break');
  });
});

describe('requests over a base', () => {
  const laid = (text: string, requests: readonly Request[]): string =>
    compose({ file: 'base.config', text }, requests).text;
  const text = '#\n# head\n#\nCONFIG_A=y\n# CONFIG_B is not set\nCONFIG_C="x"\n# CONFIG_A=m\nCONFIG_AB=y\n';
  test.each([
    ['', [], ''],
    ['', ask('A=y', 'B=n'), 'CONFIG_A=y\n# CONFIG_B is not set\n'],
    [text, [], text],
    [
      text,
      ask('A=m'),
      '#\n# head\n#\n# CONFIG_B is not set\nCONFIG_C="x"\n# CONFIG_A=m\nCONFIG_AB=y\nCONFIG_A=m\n',
    ],
    [
      text,
      ask('B=y', 'C=n'),
      '#\n# head\n#\nCONFIG_A=y\n# CONFIG_A=m\nCONFIG_AB=y\nCONFIG_B=y\n# CONFIG_C is not set\n',
    ],
    ['CONFIG_A=y', ask('B=y'), 'CONFIG_A=y\nCONFIG_B=y\n'],
    ['CONFIG_A=y\nCONFIG_A=m\n', ask('A=n'), '# CONFIG_A is not set\n'],
    ['', ask('A=y', 'B=y', 'A=m'), 'CONFIG_B=y\nCONFIG_A=m\n'],
    ['# CONFIG_A is not set, once\nCONFIG_A=y\r\n', ask('A=m'), 'CONFIG_A=m\n'],
  ])('%j with %j', (below, requests, expected) => {
    expect(laid(below, requests)).toBe(expected);
  });

  test('every request is in the result, once, at the end, in the order of the last requests', () => {
    const option = fc.constantFrom('A', 'B', 'C', 'AB');
    const value = fc.constantFrom('y', 'm', 'n', '16', '"x"');
    const pairs = fc.array(fc.tuple(option, value), { maxLength: 8 });
    fc.assert(
      fc.property(pairs, pairs, (before, after) => {
        const requests = ask(...after.map(([name, asked]) => `${name}=${asked}`));
        const result = laid(
          laid('# x\n', ask(...before.map(([name, asked]) => `${name}=${asked}`))),
          requests,
        );
        const { entries } = readDotConfig(result);
        const last = lastRequests(requests);
        expect(last.length === 0 ? [] : entries.slice(-last.length)).toMatchObject(
          last.map(({ option: name, value: asked }) => ({ option: name, value: asked })),
        );
        expect(new Set(entries.map((entry) => entry.option)).size).toBe(entries.length);
      }),
    );
  });
});

describe('what a target of make writes', () => {
  const kconfig =
    'config A\n\tbool "a"\n\tdefault y\nconfig B\n\tbool "b"\nconfig C\n\tbool "c"\nconfig D\n\tbool "d"\n';
  const model = modelOf(kconfig);
  const files = new Map([
    ['def', 'CONFIG_B=y\n'],
    ['tiny-base', 'CONFIG_C=y\n'],
    ['tiny', 'CONFIG_D=y\n# CONFIG_C is not set\n'],
    ['on', '# require CONFIG_B=y\n# require CONFIG_C=n\nCONFIG_C=y\n'],
    ['off', '# require CONFIG_B=n\nCONFIG_D=y\n'],
  ]);
  const tree = { read: (path: string): string | undefined => files.get(path) };
  const on = (text: string | undefined): string =>
    [...(text ?? 'none').matchAll(/^CONFIG_(\w)=y$/gm)].map(([, name]) => name).join('');
  const step = (
    whereRequired: boolean,
    ...fragments: string[]
  ): { whereRequired: boolean; fragments: string[] } => ({ whereRequired, fragments });

  test.each([
    ['a defconfig', { start: { kind: 'defconfig', file: 'def' }, steps: [] }, 'AB'],
    ['a file as it is', { start: { kind: 'config', file: 'def' }, steps: [] }, 'AB'],
    ['all yes', { start: { kind: 'all', mode: 'allyesconfig', preset: undefined }, steps: [] }, 'ABCD'],
    [
      'all no, a preset, and a fragment behind it',
      { start: { kind: 'all', mode: 'allnoconfig', preset: 'tiny-base' }, steps: [step(false, 'tiny')] },
      'D',
    ],
    [
      'fragments that count where something is required',
      { start: { kind: 'config', file: 'def' }, steps: [step(false, 'def'), step(true, 'on', 'off')] },
      'ABC',
    ],
  ] as const)('%s', (_name, recipe, expected) => {
    expect(on(baseConfig(model, tree, recipe))).toBe(expected);
  });

  test.each([
    { start: { kind: 'defconfig', file: 'none' }, steps: [] },
    { start: { kind: 'all', mode: 'allnoconfig', preset: 'none' }, steps: [] },
    { start: { kind: 'config', file: 'def' }, steps: [step(false, 'none')] },
  ] as const)('a file that is not there: %j', (recipe) => {
    expect(baseConfig(model, tree, recipe)).toBeUndefined();
  });

  test('a fragment is appended whole', () => {
    expect(mergeFragment('CONFIG_A=y\nCONFIG_AB=y\n', '# x\n# CONFIG_A is not set\n')).toBe(
      'CONFIG_AB=y\n\n# x\n# CONFIG_A is not set\n',
    );
  });
});
