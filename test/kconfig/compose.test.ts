import { describe, expect, test } from 'vitest';

import { baseConfig, mergeFragment } from '../../src/kconfig/base-config.ts';
import { compose } from '../../src/kconfig/compose.ts';
import type { Request } from '../../src/kconfig/requests.ts';
import { modelOf } from './small-tree.ts';

const request = (option: string, value: string, line: number): Request => ({
  option,
  value,
  origin: { file: 'serial.config', line },
});

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
