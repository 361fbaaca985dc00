import { createHash } from 'node:crypto';

import fc from 'fast-check';
import { describe, expect, test } from 'vitest';

import { configure } from '../../src/kconfig/configure.ts';
import { restoreModel, storeModel } from '../../src/kconfig/model-store.ts';
import { modelVersion } from '../../src/kconfig/model-tables.ts';
import type { Model } from '../../src/kconfig/model.ts';
import { meaningCases } from './meaning-cases.ts';
import { plainModel } from './plain-model.ts';
import { modelOf, releases } from './small-tree.ts';

const kconfig = `${meaningCases.map((one) => one.kconfig).find((text) => text.includes('choice')) ?? ''}
config LATIN
	string "b\u00e4r \u0080"
	default "\u00ff"
config IF
	bool "x"
	depends on DARK if RED && !BLUE
	help
	  text
`.replace('@MODULES@', 'modules');

const older = `choice NAME
	tristate "c"
	optional
	default A if B > 1
	default E
config A
	tristate "a"
endchoice
config B
	int
	range 1 2 if m
config D
	string
	option defconfig_list
	default "x"
config E
	bool "e"
	option allnoconfig_y
	select A if !B
	imply A
config M
	bool
	option modules
`;

/** In the order in which they are asked for, records come into being; so it is asked twice. */
function comesBack(model: Model, bytes: Uint8Array = storeModel(model)): void {
  const restored = restoreModel(bytes);
  if (!restored) throw new Error('nothing comes back');
  expect(plainModel(restored)).toEqual(plainModel(model));
  expect(plainModel(restored)).toEqual(plainModel(model));
  expect(storeModel(restored)).toEqual(storeModel(model));
}

describe('what is stored comes back', () => {
  test('all of it', () => comesBack(modelOf(kconfig)));
  test('a model of an older tree', () => {
    const model = modelOf(older, { release: '5.10' });
    comesBack(model);
    expect(configure(model, 'allnoconfig').text).toContain('CONFIG_E=y');
    expect(configure(model, 'alldefconfig').text).not.toContain('CONFIG_D');
  });
  test('from the middle of a buffer', () => {
    const model = modelOf(kconfig);
    comesBack(model, new Uint8Array([0, ...storeModel(model)]).subarray(1));
  });
  test('a name that others begin with, and many names', () => {
    const names = Array.from({ length: 300 }, (_, index) => `N${index}`);
    const model = modelOf(names.map((name) => `config ${name}\n\tbool "${name}"\n`).join(''));
    comesBack(model);
    const byName = restoreModel(storeModel(model))?.byName;
    expect(names.filter((name) => byName?.get(name)?.name !== name)).toEqual([]);
    expect(['N', 'N300', 'y', ''].filter((name) => byName?.has(name))).toEqual([]);
    expect(byName?.size).toBe(names.length);
  });
});

/** What is kept of a model must not be read as another one: where the bytes are others, the version goes up. */
test('a change of the format goes with a new version', () => {
  const hash = createHash('sha256');
  for (const { kconfig: text, releases: only = releases } of meaningCases) {
    for (const release of only) {
      const modules = release === '5.10' ? 'option modules' : 'modules';
      hash.update(storeModel(modelOf(text.replaceAll('@MODULES@', modules), { release })));
    }
  }
  expect(`${modelVersion}: ${hash.digest('hex')}`).toBe(
    '5: 68ce3c84b6ea7ab8f7e54b089b94a6beea86546952d8ee78dde6ec87b073f00f',
  );
});

describe('bytes that are none of a model', () => {
  const bytes = storeModel(modelOf(kconfig));

  test('are refused', () => {
    expect(restoreModel(new Uint8Array())).toBeUndefined();
    expect(restoreModel(new Uint8Array(64))).toBeUndefined();
    for (const cut of [1, 7, 100, bytes.length >> 1]) {
      expect(restoreModel(bytes.slice(0, -cut))).toBeUndefined();
    }
    expect(restoreModel(new Uint8Array([...bytes, 0]))).toBeUndefined();
  });

  test('and so are those of another version', () => {
    const other = bytes.slice();
    new Int32Array(other.buffer, 0, 2)[1] = modelVersion + 1;
    expect(restoreModel(other)).toBeUndefined();
  });

  test('damage is found, or leads to a model all the same', () => {
    fc.assert(
      fc.property(
        fc.array(fc.tuple(fc.nat(bytes.length - 1), fc.nat(255)), { minLength: 1, maxLength: 4 }),
        (edits) => {
          const damaged = bytes.slice();
          for (const [place, value] of edits) damaged[place] = value;
          const model = restoreModel(damaged);
          if (!model) return;
          configure(model, 'alldefconfig');
          plainModel(model);
        },
      ),
      { numRuns: 5000 },
    );
  });
});
