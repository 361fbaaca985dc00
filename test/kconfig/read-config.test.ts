/** Source: conf_read_simple of scripts/kconfig/confdata.c in each tree; the meaning of lines is in meaning.test.ts. */
import { describe, expect, test } from 'vitest';

import { configDiagnostics } from '../../src/kconfig/config-diagnostics.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { modelOf, releases, type Release } from './small-tree.ts';

const kconfig = `config A
	bool "a"
config T
	tristate "t"
config I
	int "i"
config H
	hex "h"
config S
	string "s"
choice
	prompt "c"
config X
	bool "x"
config Y
	bool "y"
endchoice
config U
	bool "u"
	depends on UNDEFINED
`;

function warned(config: string, release: Release): readonly string[] {
  const { warnings } = configure(modelOf(kconfig, { release }), 'olddefconfig', config);
  return warnings.map(({ kind, line, option }) => `${line} ${kind} ${option}`.trim());
}

const newer: readonly Release[] = ['6.12', '7.3'];

describe('warnings', () => {
  test.each<[string, string, readonly string[], readonly Release[]]>([
    ['nothing', '', [], releases],
    ['remarks and blank lines', '# a\n\n#\n# CONFIG_A\n', [], releases],
    ['a stray line', 'A=y\n CONFIG_A=y\n', ['1 unexpected', '2 unexpected'], releases],
    ['a name alone', 'CONFIG_A\n', [], ['5.10', '6.1']],
    ['a name alone', 'CONFIG_A\n', ['1 unexpected'], newer],
    [
      'an unknown option',
      'CONFIG_NONE=y\n# CONFIG_NONE is not set\n',
      ['1 unknown NONE', '2 unknown NONE'],
      releases,
    ],
    ['an option that is only mentioned', 'CONFIG_UNDEFINED=y\n', [], releases],
    [
      'invalid values',
      'CONFIG_A=m\nCONFIG_T=x\nCONFIG_I=1x\nCONFIG_H=0x\n',
      ['1 invalid A', '2 invalid T', '3 invalid I', '4 invalid H'],
      releases,
    ],
    ['a number that is not set', '# CONFIG_I is not set\n', [], ['5.10']],
    ['a number that is not set', '# CONFIG_I is not set\n', ['1 invalid I'], ['6.1', '6.12', '7.3']],
    ['a string that is not set', '# CONFIG_S is not set\nCONFIG_S=bare\n', [], releases],
    ['a string that is not closed', 'CONFIG_S="a\\"\n', ['1 open-string S'], releases],
    ['twice', 'CONFIG_A=y\nCONFIG_A=n\n', ['2 again A'], releases],
    ['two members of a choice', 'CONFIG_X=y\nCONFIG_Y=y\n', ['2 choice-again Y'], ['5.10', '6.1']],
    ['two members of a choice', 'CONFIG_X=y\nCONFIG_Y=y\n', [], newer],
    ['another character behind the sign', '#-CONFIG_A is not set\nCONFIG_A=y\n', ['2 again A'], ['5.10']],
    ['another character behind the sign', '#-CONFIG_A is not set\nCONFIG_A=y\n', [], ['6.1', '6.12', '7.3']],
    ['carriage returns', 'CONFIG_A=y\r\n\r\nCONFIG_I=3\r\n', [], releases],
    ['a carriage return without line feed', '\r', [], ['5.10', '6.1']],
    ['a carriage return without line feed', '\r', ['1 unexpected'], newer],
    ['what stands behind a zero byte', 'CONFIG_A=y\0\nCONFIG_I=3\0x\n', [], releases],
  ])('%s: %j', (_name, config, expected, of) => {
    for (const release of of) expect(warned(config, release), release).toEqual(expected);
  });

  test('a member that is m beside one that is y', () => {
    const tristate =
      'config MODULES\n\tbool "m"\n\tmodules\nchoice\n\ttristate "c"\nconfig A\n\ttristate "a"\nconfig B\n\ttristate "b"\nendchoice\n';
    const model = modelOf(tristate, { release: '6.1' });
    const { warnings, text } = configure(model, 'olddefconfig', 'CONFIG_MODULES=y\nCONFIG_B=y\nCONFIG_A=m\n');
    expect(warnings).toEqual([{ kind: 'choice-mixed', line: 3, option: 'A', value: 'm' }]);
    // As the conf of Linux 6.1.192 has it.
    expect(text).toContain('CONFIG_A=m\nCONFIG_B=m\n');
  });

  test('as diagnostics, each with its line', () => {
    const config = 'stray\nCONFIG_A=x\nCONFIG_S="a\nCONFIG_A=y\nCONFIG_A=n\nCONFIG_NONE=y';
    const { warnings } = configure(modelOf(kconfig), 'olddefconfig', config);
    const found = configDiagnostics(warnings, 'station.config', config);
    expect(
      found.map(({ severity, code, span }) => [severity, code, span && config.slice(span.start, span.end)]),
    ).toEqual([
      ['warning', 'kconfig/config-line', 'stray'],
      ['warning', 'kconfig/config-value', 'CONFIG_A=x'],
      ['warning', 'kconfig/config-value', 'CONFIG_S="a'],
      ['warning', 'kconfig/config-again', 'CONFIG_A=n'],
      ['note', 'kconfig/config-unknown', 'CONFIG_NONE=y'],
    ]);
    const mixed = configDiagnostics(
      [
        { kind: 'choice-again', line: 1, option: 'A', value: 'y' },
        { kind: 'choice-mixed', line: 1, option: 'B', value: 'm' },
      ],
      'x',
      'CONFIG_A=y\n',
    );
    expect(mixed.map(({ code }) => code)).toEqual(['kconfig/config-again', 'kconfig/config-again']);
  });
});

test('the evaluation answers what a person would ask', () => {
  const model = modelOf(
    'config MODULES\n\tbool "m"\n\tmodules\nconfig A\n\ttristate "a"\n\tselect B\n\timply D\nconfig B\n\ttristate "b"\n\tdepends on C\nconfig C\n\tbool "c"\nconfig D\n\tbool\nconfig I\n\tint "i"\n\trange 1 5\n\tdefault 3\nmenu "m"\n\tvisible if C\nconfig E\n\tbool "e"\nendmenu\nchoice\n\tprompt "p"\nconfig X\n\tbool "x"\nconfig Y\n\tbool "y"\nendchoice\n',
  );
  const { evaluation } = configure(
    model,
    'olddefconfig',
    'CONFIG_MODULES=y\nCONFIG_A=m\nCONFIG_I=9\nCONFIG_Y=y\n',
  );
  const named = (name: string): Parameters<typeof evaluation.tristateOf>[0] => {
    const symbol = model.byName.get(name);
    if (!symbol) throw new Error(name);
    return symbol;
  };
  const [a, b, d, e, i, y] = ['A', 'B', 'D', 'E', 'I', 'Y'].map(named);
  if (!a || !b || !d || !e || !i || !y) throw new Error('a symbol is missing');
  expect([evaluation.tristateOf(a), evaluation.valueOf(a), evaluation.userValueOf(a)]).toEqual([1, 'm', 'm']);
  expect([evaluation.visibilityOf(b), evaluation.dependenciesOf(b), evaluation.selectedTo(b)]).toEqual([
    0, 0, 1,
  ]);
  expect([evaluation.impliedTo(d), evaluation.isWritten(d), evaluation.userValueOf(d)]).toEqual([
    2,
    true,
    undefined,
  ]);
  expect(evaluation.unmet.map(({ name }) => name)).toEqual(['B']);
  expect([evaluation.valueOf(i), evaluation.userValueOf(i)]).toEqual(['5', '9']);
  expect(evaluation.activeRange(i)?.high.name).toBe('5');
  expect(evaluation.activeDefault(i)?.line).toBe(18);
  const [choice] = model.choices;
  expect(choice && [evaluation.modeOf(choice), evaluation.chosenOf(choice)]).toEqual([2, y]);
  const [prompt] = e.prompts;
  const menu = e.nodes[0]?.parent;
  expect(prompt && evaluation.conditionOf(prompt)).toBe(0);
  expect(menu?.prompt && evaluation.conditionOf(menu.prompt)).toBe(2);
  expect(menu && evaluation.nodeDependency(menu)).toBe(2);
  expect(evaluation.calculate(undefined)).toBe(2);
  expect(evaluation.calculate(menu?.visibleIf[0])).toBe(0);
});

test('a choice whose default is none of its members may have no member that is chosen', () => {
  const model = modelOf(
    'config S\n\tbool "s"\nchoice\n\tprompt "p"\n\tdefault S\nconfig X\n\tbool "x"\nendchoice\n',
  );
  const [choice] = model.choices;
  const { evaluation, text } = configure(model, 'allyesconfig');
  expect(text).toContain('# CONFIG_X is not set');
  expect(choice && evaluation.chosenOf(choice)).toBeUndefined();
});
