/** Source: preprocess.c of the trees and Documentation/kbuild/kconfig-macro-language.rst. */
import { describe, expect, test } from 'vitest';

import { complaints, modelOf, parseSmall } from './small-tree.ts';

const environment = { CC: 'gcc', EMPTY: '' };
const answers = {
  'echo one': 'one\n',
  'printf "a\\nb\\n\\n"': 'a\nb\n\n',
  'gcc --version': 'gcc 12',
  long: 'x'.repeat(5000),
};

/** What a text expands to in a string. */
function expanded(assignments: string, text: string): string | undefined {
  const model = modelOf(`${assignments}\nconfig A\n\tstring\n\tdefault "${text}"\n`, {
    environment,
    answers,
  });
  const [value] = model.byName.get('A')?.defaults ?? [];
  return value?.value.kind === 'symbol' ? value.value.symbol.name : undefined;
}

describe('expansion', () => {
  test.each([
    ['nothing to expand', '', 'a$b ${CC} $$', 'a$b ${CC} $$'],
    ['an environment variable', '', '[$(CC)]', '[gcc]'],
    ['one that is empty, and none', '', '[$(EMPTY)$(NONE)]', '[]'],
    ['none with an argument', '', '[$(CC,x)]', '[]'],
    ['a recursive variable sees what comes later', 'A = $(B)\nB = 1\nB = 2', '$(A)', '2'],
    ['a simple variable does not', 'B = 1\nA := $(B)\nB = 2', '$(A)', '1'],
    ['appending keeps the kind of a simple variable', 'B = 1\nA := $(B)\nA += $(B)\nB = 2', '$(A)', '1 1'],
    ['and of a recursive one', 'B = 1\nA = x\nA += $(B)\nB = 2', '$(A)', 'x 2'],
    ['appending to nothing makes a recursive one', 'A += $(B)\nB = 2', '$(A)', '2'],
    ['a later kind wins', 'B = 1\nA = $(B)\nA := $(B)\nB = 2', '$(A)', '1'],
    ['blanks in front of a value go, those behind stay', 'A =   x  ', '[$(A)]', '[x  ]'],
    ['a value has no remarks and no quotes', 'A = "x" # y', '$(A)', '"x" # y'],
    ['a variable hides an environment variable', 'CC = clang', '$(CC)', 'clang'],
    ['arguments', 'f = <$(1)|$(2)|$(3)>', '$(f,a, b)', '<a| b|>'],
    ['parentheses and commas in arguments', 'f = <$(1)|$(2)>', '$(f,(a,b),c)', '<(a,b)|c>'],
    ['arguments that are calls', 'f = <$(1)>', '$(f,$(f,x))', '<<x>>'],
    ['names that are calls', 'n = f\nf = <$(1)>', '$($(n),x)', '<x>'],
    ['an argument that is not given is looked up', '1 = one', '$(1)', 'one'],
    ['the file and the line', '', '$(filename):$(lineno)', 'Kconfig:4'],
    ['a command', '', '$(shell,echo one)', 'one'],
    ['line feeds of a command', '', `$(shell,printf "a\\\\nb\\\\n\\\\n")`, undefined],
    ['at most 4095 bytes', '', '$(shell,long)', 'x'.repeat(4095)],
  ])('%s', (_name, assignments, text, expected) => {
    if (expected !== undefined) expect(expanded(assignments, text)).toBe(expected);
    else expect(() => expanded(assignments, text)).not.toThrow();
  });

  test('line feeds of an answer become blanks, those at its end go', () => {
    expect(expanded('f = $(shell,printf "a\\nb\\n\\n")', '$(f)')).toBe('a b');
  });

  test('words are expanded to their end, and vanish when nothing is left', () => {
    const model = modelOf(
      'N = A\nT := bool\nconfig $(N)_X\n\tbool "a" $(NONE)\nconfig $(N)-$(N)\n\tbool "b"\n',
    );
    expect([...model.byName.keys()]).toEqual(['A_X', 'A-A']);
  });

  test('a whole expansion is one word, whatever is in it', () => {
    const model = modelOf('N = A B\nconfig C\n\tbool "c"\n\tdepends on $(N)\n');
    expect([...model.byName.keys()]).toEqual(['C', 'A B']);
  });
});

describe('what goes wrong', () => {
  test.each([
    ['X := $(error-if,y,no compiler)', ['error Kconfig:1 no compiler']],
    ['X := $(error-if,n,no compiler)', []],
    ['X := $(warning-if,y,old compiler)', ['warning Kconfig:1 old compiler']],
    ['X := $(info,hello)', ['note Kconfig:1 hello']],
    ['X := $(error-if,y)', ['error Kconfig:1 too few arguments for `error-if`: it takes 2']],
    ['X := $(filename,y)', ['error Kconfig:1 too many arguments for `filename`: it takes 0']],
    [`X := $(f${',a'.repeat(16)})`, ['error Kconfig:1 there are more than 15 arguments']],
    ['A = $(B)\nB = $(A)\nX := $(A)', ['error Kconfig:3 the variable `A` refers to itself']],
    ['config A\n\tbool "$(CC"', ['error Kconfig:2 the reference to `CC"` is not closed: `)` is missing']],
  ])('%s', (text, expected) => {
    expect(complaints(parseSmall(`${text}\n`))).toEqual(expected);
  });
});

describe('answers that are not known', () => {
  const kconfig = [
    'cc-info := $(shell,cc-version.sh $(CC))',
    'name := $(shell,set -- $(cc-info) && echo $1)',
    '$(error-if,$(shell,test -z "$(cc-info)" && echo y),no compiler)',
    'config NAME',
    '\tdef_bool $(shell,test $(name) = GCC && echo y || echo n)',
    'config OTHER',
    '\tdef_bool $(shell,true && echo y)',
    'source "Kconfig.$(name)"',
    '',
  ].join('\n');

  test('come in rounds: first those that hang on nothing', () => {
    const known: Record<string, string> = {};
    const rounds: (readonly string[])[] = [];
    for (;;) {
      const files = { Kconfig: kconfig, 'Kconfig.GCC': '' };
      const { missing, model, diagnostics, asked } = parseSmall(files, { answers: known, environment });
      expect(diagnostics).toEqual([]);
      expect(model).toBeDefined();
      if (missing.length === 0) {
        expect(asked).toHaveLength(5);
        break;
      }
      rounds.push(missing);
      for (const command of missing)
        known[command] = command.includes('$1')
          ? 'GCC\n'
          : command.includes('echo y')
            ? 'y\n'
            : 'GCC 120200\n';
      // Only where the answer says so would the tree refuse the compiler.
      for (const command of missing) if (command.includes('-z')) known[command] = 'n\n';
    }
    expect(rounds).toEqual([
      ['cc-version.sh gcc', 'true && echo y'],
      ['set -- GCC 120200 && echo $1', 'test -z "GCC 120200" && echo y'],
      ['test GCC = GCC && echo y || echo n'],
    ]);
  });

  test('count as n until then', () => {
    const { model, missing } = parseSmall(
      'config A\n\tdef_bool $(shell,x)\nconfig B\n\tstring\n\tdefault "[$(shell,x)]"\n',
    );
    expect(missing).toEqual(['x']);
    expect(model?.byName.get('A')?.defaults[0]?.value).toMatchObject({ symbol: { name: 'n' } });
    expect(model?.byName.get('B')?.defaults[0]?.value).toMatchObject({ symbol: { name: '[]' } });
  });
});
