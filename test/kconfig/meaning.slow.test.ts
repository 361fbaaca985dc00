/** Referee: scripts/kconfig/conf of the four trees. */
import { expect, test } from 'vitest';

import { saveDefconfig } from '../../src/kconfig/configure.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { askConf, generations } from '../oracle/kconfig-snippets.ts';
import { meaningCases } from './meaning-cases.ts';
import { meaningExpected } from './meaning-expected.ts';
import { newestCases } from './newest-cases.ts';
import { newestExpected } from './newest-expected.ts';
import { modelOf, releases } from './small-tree.ts';

test('the programs of all generations give what the cases expect', async (context) => {
  for (const generation of await orSkip(context, generations())) {
    const release = releases.find((name) => name === generation.series);
    if (release === undefined) throw new Error(`no release is called ${generation.series}`);
    const all = release === '7.3' ? [...meaningCases, ...newestCases] : meaningCases;
    const cases = all.filter((one) => one.releases?.includes(release) !== false);
    for (const { name, kconfig, config, mode = 'olddefconfig' } of cases) {
      const text = kconfig.replaceAll('@MODULES@', release === '5.10' ? 'option modules' : 'modules');
      const given =
        mode === 'olddefconfig'
          ? { config: config ?? '' }
          : config === undefined
            ? {}
            : mode === 'defconfig'
              ? { defconfig: config }
              : { preset: config };
      const result = await askConf(generation, { Kconfig: text }, { mode, ...given });
      expect(result.status, result.stderr).toBe(0);
      const groups = Object.entries(meaningExpected[name] ?? {});
      const group = groups.find(([names]) => names.split(' ').includes(release));
      const expected = group?.[1] ?? newestExpected[name];
      expect(result.config.split('\n').slice(4, -1), `${name}, ${release}`).toEqual(expected);
      const saved = await askConf(
        generation,
        { Kconfig: text },
        { mode: 'savedefconfig', config: result.config },
      );
      expect(saveDefconfig(modelOf(text, { release }), result.config), `${name}, ${release}`).toBe(
        saved.config,
      );
    }
  }
});
