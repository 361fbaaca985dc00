/** Referee: `meaningExpected` was made by the programs of four kernel trees; see there. */
import { describe, expect, test } from 'vitest';

import { configure, saveDefconfig } from '../../src/kconfig/configure.ts';
import { restoreModel, storeModel } from '../../src/kconfig/model-store.ts';
import type { Model } from '../../src/kconfig/model.ts';
import { meaningCases, type MeaningCase } from './meaning-cases.ts';
import { meaningExpected } from './meaning-expected.ts';
import { modelOf, releases, type Release } from './small-tree.ts';

function modelFor({ kconfig }: MeaningCase, release: Release): Model {
  const modules = release === '5.10' ? 'option modules' : 'modules';
  return modelOf(kconfig.replaceAll('@MODULES@', modules), { release });
}

function textOf(model: Model, { mode = 'olddefconfig', config }: MeaningCase): string {
  return configure(model, mode, mode === 'olddefconfig' ? (config ?? '') : config).text;
}

function expectedFor(name: string, release: Release): readonly string[] {
  const groups = Object.entries(meaningExpected[name] ?? {});
  const found = groups.find(([names]) => names.split(' ').includes(release));
  if (!found) throw new Error(`nothing is expected of ${name} in ${release}`);
  return found[1];
}

describe.each(releases)('as in Linux %s', (release) => {
  const cases = meaningCases.filter((one) => one.releases?.includes(release) !== false);
  test.each(cases)('$name', (one) => {
    const model = modelFor(one, release);
    const text = textOf(model, one);
    expect(text.split('\n').slice(4, -1)).toEqual(expectedFor(one.name, release));
    expect(text).toMatch(/^#\n# Automatically generated file; DO NOT EDIT\.\n# .*\n#\n/);

    // A model out of the store means the same.
    const restored = restoreModel(storeModel(model));
    expect(restored && textOf(restored, one)).toBe(text);
    expect(restored && saveDefconfig(restored, text)).toBe(saveDefconfig(model, text));
  });
});
