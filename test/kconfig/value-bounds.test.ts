/** Bounds are held against random configurations of random Kconfig files, whose values our engine makes. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';

import { configure } from '../../src/kconfig/configure.ts';
import { dialects } from '../../src/kconfig/dialect.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import { valueBounds } from '../../src/kconfig/value-bounds.ts';
import { kernelSeries } from '../oracle/kernel-trees.ts';
import { printKconfig, randomKconfig } from '../oracle/random-kconfig.ts';
import { kconfig, smallModel } from './judge-small.ts';

/** `least greatest` of each option. */
function boundsIn(text: string): Readonly<Record<string, string>> {
  const model = smallModel(text);
  const bounds = valueBounds(configure(model, 'olddefconfig', '').evaluation);
  return Object.fromEntries(
    [...model.byName]
      .filter(([name]) => /[A-Z]/u.test(name))
      .map(([name, symbol]) => {
        const { least, greatest } = bounds.of(symbol);
        return [name, `${'nmy'.charAt(least)} ${'nmy'.charAt(greatest)}`];
      }),
  );
}

test('what nobody can switch on or off, and what follows from it', () => {
  const text = kconfig`
    config MODULES
      bool "Modules"
      modules
    config ARCH
      def_bool y
      select HELD
      select BOUND if FREE
    config HELD
      tristate
    config BOUND
      bool
    config FREE
      bool "Free"
    config WIDE
      bool "Wide" if "x86_64" = "x86"
      default y
    config NARROW
      def_bool !WIDE
    config LATE
      bool "Late"
      depends on NARROW || NOWHERE
    config VERSION
      int
      default 0
    config TYPES
      bool "Types"
      depends on VERSION >= 116
    config PART
      tristate "Part"
      depends on m
    config WHOLE
      def_bool y
      depends on PART != n
  `;
  expect(boundsIn(text)).toEqual({
    MODULES: 'n y',
    ARCH: 'y y',
    HELD: 'y y',
    BOUND: 'n y',
    FREE: 'n y',
    WIDE: 'y y',
    NARROW: 'n n',
    LATE: 'n n',
    NOWHERE: 'n n',
    VERSION: 'n n',
    TYPES: 'n n',
    PART: 'n y',
    WHOLE: 'n y',
  });
});

describe.each(kernelSeries)('rules of %s', (series) => {
  test('no configuration goes beyond them, and they say something', () => {
    let [narrow, seen] = [0, 0];
    const answers = fc.array(fc.constantFrom('y', 'y', 'm', 'n', '5', '"x"', ''), { minLength: 60 });
    fc.assert(
      fc.property(randomKconfig, fc.array(answers, { minLength: 4, maxLength: 8 }), (random, configs) => {
        const text = printKconfig(random, series);
        const { model } = parseTree({
          files: { read: (name) => (name === 'Kconfig' ? text : undefined) },
          probes: { answer: () => '' },
          environment: {},
          dialect: dialects[series],
        });
        if (!model) return;
        const names = [...model.byName.keys()];
        const first = configure(model, 'olddefconfig', '').evaluation;
        const bounds = valueBounds(first);
        for (const values of [[], ...configs]) {
          const lines = names.map((name, index) => `CONFIG_${name}=${values[index % values.length] ?? ''}\n`);
          const { evaluation } = configure(model, 'olddefconfig', lines.join(''));
          for (const symbol of model.byName.values()) {
            const { least, greatest } = bounds.of(symbol);
            const value = evaluation.tristateOf(symbol);
            expect(value, `${symbol.name} in\n${text}`).toBeGreaterThanOrEqual(least);
            expect(value, `${symbol.name} in\n${text}`).toBeLessThanOrEqual(greatest);
            seen += 1;
            if (least > 0 || greatest < 2) narrow += 1;
          }
        }
      }),
      { numRuns: 150, seed: 6 },
    );
    expect(narrow / seen).toBeGreaterThan(0.1);
  });
});
