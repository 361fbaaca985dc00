import fc from 'fast-check';
import { describe, expect, test } from 'vitest';

import { calculate, calculateRecord, conditionOf, recordCondition } from '../../src/kconfig/calculate.ts';
import { ConditionRecords } from '../../src/kconfig/condition-records.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { createEvalState } from '../../src/kconfig/eval-state.ts';
import { evaluateAll } from '../../src/kconfig/evaluate.ts';
import { readConfig } from '../../src/kconfig/read-config.ts';
import { membersOf, operators, startOf } from '../../src/kconfig/rules.ts';
import { modelOf, releases } from './small-tree.ts';

describe('columns', () => {
  test('rows of an owner end where its column says, and begin where those before end', () => {
    const { rules, byName } = modelOf(
      'config A\n\tbool "a"\n\tdefault y\n\tdefault n\nconfig B\n\tbool\nconfig C\n\tbool "c"\n\tdefault A\n',
    );
    const rowsOf = (name: string): readonly number[] => {
      const id = byName.get(name)?.id ?? -1;
      return [startOf(rules.symbols.defaults, id), rules.symbols.defaults[id] ?? -1];
    };
    expect([rowsOf('A'), rowsOf('B'), rowsOf('C')]).toEqual([
      [0, 2],
      [2, 2],
      [2, 3],
    ]);
  });

  test('a condition has one row, wherever it stands', () => {
    const { rules } = modelOf(
      'config A\n\tbool "a"\nconfig D\n\tbool "d"\nconfig B\n\tbool "b"\n\tdepends on A && !D\n\tdefault y if A && !D\nconfig C\n\tbool\n\tdepends on A && !D\n',
    );
    const ands = Array.from(rules.exprs.operator).filter((code) => operators[code] === 'and');
    expect(ands).toHaveLength(1);
    expect(new Set(rules.dependencies.expr)).toEqual(new Set([rules.defaults.condition[0]]));
  });

  test('conditions that differ in their operands, or in their order, have rows of their own', () => {
    const conditions = ['A && B', 'B && A', 'A && B && A', 'A || B', 'A = B', 'A != B', 'A', '!A'];
    const lines = conditions.map((condition) => `\tdefault y if ${condition}\n`).join('');
    const { rules } = modelOf(`config A\n\tbool "a"\nconfig B\n\tbool "b"\nconfig C\n\tbool\n${lines}`);
    expect(new Set(rules.defaults.condition).size).toBe(conditions.length);
  });

  test('members of a choice stand in the order of the text', () => {
    const { rules, symbols } = modelOf(
      'choice\n\tprompt "c"\nconfig Z\n\tbool "z"\nconfig A\n\tbool "a"\nendchoice\n',
    );
    expect(membersOf(rules, 0).map((id) => symbols[id]?.name)).toEqual(['Z', 'A']);
  });
});

test.each(['5.10', '7.3'] as const)(
  'a choice may have more members than a call has arguments, rules of %s',
  (release) => {
    const members = Array.from({ length: 150_000 }, (_, index) => `config N${index}\n\tbool "n"\n`).join('');
    const model = modelOf(`choice\n\tprompt "c"\n${members}endchoice\n`, { release });
    expect(configure(model, 'alldefconfig').text).toContain('CONFIG_N0=y\n# CONFIG_N1 is not set\n');
  },
);

const names = ['A', 'B', 'C', 'D'];
const term = fc.oneof(
  fc.constantFrom(...names, 'y', 'm', 'n', 'ABSENT'),
  fc
    .tuple(
      fc.constantFrom(...names),
      fc.constantFrom('=', '!=', '<', '>=', '>', '<='),
      fc.constantFrom('y', 'm', 'n', '3', '"x"', 'N'),
    )
    .map((words) => words.join(' ')),
);
const { condition } = fc.letrec<{ condition: string }>((tie) => ({
  condition: fc.oneof(
    { maxDepth: 4 },
    term,
    tie('condition').map((one) => `!(${one})`),
    fc
      .tuple(tie('condition'), fc.constantFrom('&&', '||'), tie('condition'))
      .map(([a, by, b]) => `(${a}) ${by} (${b})`),
  ),
}));

test.each(releases)('a condition is worth the same as a row and as a record, rules of %s', (release) => {
  const value = fc.constantFrom('y', 'm', 'n');
  const given = fc.record({ A: value, B: value, C: value, D: value, MODULES: fc.constantFrom('y', 'n') });
  fc.assert(
    fc.property(fc.array(condition, { minLength: 1, maxLength: 5 }), given, (conditions, values) => {
      const own = names.map((name) => `config ${name}\n\ttristate "${name}"\n`).join('');
      const modules = `config MODULES\n\tbool "modules"\n${release === '5.10' ? '\toption modules\n' : '\tmodules\n'}`;
      const lines = conditions.map((one) => `\tdefault y if ${one}\n`).join('');
      const model = modelOf(
        `${modules}${own}config N\n\tint "n"\n\tdefault 3\nconfig END\n\tbool\n${lines}`,
        {
          release,
        },
      );
      const state = createEvalState(model);
      const text = Object.entries(values).map(([name, one]) => `CONFIG_${name}=${one}\n`);
      readConfig(state, text.join(''));
      evaluateAll(state);
      const records = new ConditionRecords(model.rules, model.symbols);
      for (let row = 0; row < model.rules.exprs.operator.length; row += 1) {
        expect(calculateRecord(state, records.at(row))).toBe(calculate(state, row));
      }
      const { symbols, defaults } = model.rules;
      for (const { id, defaults: lines } of model.symbols) {
        const first = startOf(symbols.defaults, id);
        for (const [index, line] of lines.entries()) {
          expect(recordCondition(state, line, false)).toBe(conditionOf(state, defaults, first + index));
        }
      }
      const recordsOfText = model.byName.get('END')?.defaults.map((line) => line.condition) ?? [];
      const rows = Array.from(model.rules.defaults.condition).slice(-conditions.length);
      expect(recordsOfText.map((one) => calculateRecord(state, one))).toEqual(
        rows.map((row) => calculate(state, row)),
      );
    }),
    { numRuns: 300 },
  );
});
