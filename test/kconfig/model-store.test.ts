import fc from 'fast-check';
import { expect, test } from 'vitest';

import { configure } from '../../src/kconfig/configure.ts';
import { restoreModel, storeModel } from '../../src/kconfig/model-store.ts';
import { meaningCases } from './meaning-cases.ts';
import { modelOf } from './small-tree.ts';

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

test('everything comes back', () => {
  const model = modelOf(kconfig);
  expect(restoreModel(storeModel(model))).toEqual(model);
  const odd = new Uint8Array([0, ...storeModel(model)]).subarray(1);
  expect(restoreModel(odd)).toEqual(model);
});

test('a model of an older tree', () => {
  const model = modelOf(
    'choice NAME\n\ttristate "c"\n\toptional\n\tdefault A if B > 1\n\tdefault E\nconfig A\n\ttristate "a"\nendchoice\nconfig B\n\tint\n\trange 1 2 if m\nconfig D\n\tstring\n\toption defconfig_list\n\tdefault "x"\nconfig E\n\tbool "e"\n\toption allnoconfig_y\n\tselect A if !B\n\timply A\nconfig M\n\tbool\n\toption modules\n',
    { release: '5.10' },
  );
  expect(restoreModel(storeModel(model))).toEqual(model);
  expect(configure(model, 'allnoconfig').text).toContain('CONFIG_E=y');
  expect(configure(model, 'alldefconfig').text).not.toContain('CONFIG_D');
});

test('bytes that are none are refused', () => {
  const bytes = storeModel(modelOf(kconfig));
  expect(restoreModel(new Uint8Array())).toBeUndefined();
  expect(restoreModel(new Uint8Array(64))).toBeUndefined();
  for (const cut of [1, 7, 100, bytes.length >> 1])
    expect(restoreModel(bytes.slice(0, -cut))).toBeUndefined();
});

test('damage is found, or leads to a model all the same', () => {
  const bytes = storeModel(modelOf(kconfig));
  fc.assert(
    fc.property(
      fc.array(fc.tuple(fc.nat(bytes.length - 1), fc.nat(255)), { minLength: 1, maxLength: 4 }),
      (edits) => {
        const damaged = bytes.slice();
        for (const [place, value] of edits) damaged[place] = value;
        const model = restoreModel(damaged);
        if (model) configure(model, 'alldefconfig');
      },
    ),
    { numRuns: 2000 },
  );
});
