/** Which texts are Kconfig, and what is said of those that are not. Source: lexer.l, parser.y and menu.c of the trees. */
import { describe, expect, test } from 'vitest';

import { configure } from '../../src/kconfig/configure.ts';
import { dialects } from '../../src/kconfig/dialect.ts';
import { expressionText } from '../../src/kconfig/expression-text.ts';
import { helpText } from '../../src/kconfig/help-text.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import { complaints, modelOf, parseSmall, releases, type Release } from './small-tree.ts';

const all = releases.join(' ');

describe('what is said of a text, release by release', () => {
  const table: readonly (readonly [string, string, Readonly<Record<string, readonly string[]>>])[] = [
    ['nothing', '', { [all]: [] }],
    ['a bool', 'config A\n\tbool "a"\n', { [all]: [] }],
    [
      'a keyword for a name',
      'config menu\n\tbool "a"\n',
      {
        [all]: [
          'error Kconfig:1 the name of a symbol belongs here, not `menu`',
          'error Kconfig:2 `bool` cannot stand here',
        ],
      },
    ],
    ['an unknown statement', 'gauge "x"\n', { [all]: ['error Kconfig:1 there is no statement `gauge`'] }],
    [
      'a type with more behind it',
      'config A\n\tbool "a" "b"\n',
      { [all]: ['error Kconfig:2 `"b"` is not expected here'] },
    ],
    [
      'a prompt without quotes',
      'config A\n\tprompt a\n',
      {
        [all]: [
          'error Kconfig:2 a text in quotes belongs here, not `a`',
          'warning Kconfig:1 `A` has no type',
        ].slice(0, 1),
      },
    ],
    [
      'a condition that ends early',
      'config A\n\tbool "a" if B &&\n',
      {
        [all]: ['error Kconfig:2 the condition is wrong: a symbol is missing'],
      },
    ],
    [
      'a parenthesis that is not closed',
      'config A\n\tbool "a" if (B\n',
      {
        [all]: ['error Kconfig:2 the condition is wrong: `)` is missing'],
      },
    ],
    [
      'a comparison without its right side',
      'config A\n\tbool "a" if B =\n',
      {
        [all]: ['error Kconfig:2 the condition is wrong: there is nothing to compare with behind `=`'],
      },
    ],
    [
      'a default without value',
      'config A\n\tbool "a"\n\tdefault\n',
      {
        [all]: ['error Kconfig:3 the default is wrong: a symbol is missing'],
      },
    ],
    [
      'depends without on',
      'config A\n\tbool "a"\n\tdepends B\n',
      {
        [all]: ['error Kconfig:3 `depends` goes on with `on`, not with `B`'],
      },
    ],
    [
      'a range with one bound',
      'config A\n\tint "a"\n\trange 1\n',
      {
        [all]: ['error Kconfig:3 a range has two bounds; the end of the line is none'],
      },
    ],
    [
      'select of a constant',
      'config A\n\tbool "a"\n\tselect "B"\n',
      {
        [all]: ['error Kconfig:3 the name of a symbol belongs here, not `"B"`'],
      },
    ],
    [
      'an end without a block',
      'endmenu\n',
      { [all]: ['error Kconfig:1 `endmenu` closes nothing: no block is open'] },
    ],
    [
      'the end of another block',
      'menu "m"\nendif\n',
      { [all]: ['error Kconfig:2 `endif` stands where the `menu` of Kconfig:1 is open'] },
    ],
    [
      'the end of a block without a line feed',
      'menu "m"\nendmenu',
      {
        '5.10 6.1': [
          'warning Kconfig:2 the last line does not end with a line feed',
          'error Kconfig:2 no line feed follows `endmenu`: the block counts as closed by another file',
        ],
      },
    ],
    [
      'a block that is not closed',
      'if A\nconfig B\n\tbool "b"\n',
      { [all]: ['error Kconfig:1 the `if` that starts here is not closed'] },
    ],
    [
      'a menu in a choice',
      'choice\n\tprompt "c"\nmenu "m"\nendmenu\nendchoice\n',
      {
        [all]: [
          'error Kconfig:3 `menu` cannot stand in a choice',
          'error Kconfig:4 `endmenu` stands where the `choice` of Kconfig:1 is open',
          'error Kconfig:5 `endchoice` closes nothing: no block is open',
        ],
      },
    ],
    [
      'modules by themselves',
      'config A\n\tbool "a"\n\tmodules\n',
      {
        '5.10': ['error Kconfig:3 `modules` cannot stand here'],
        '6.1 6.12 7.3': [],
      },
    ],
    [
      'option modules',
      'config A\n\tbool "a"\n\toption modules\n',
      {
        '5.10': [],
        '6.1 6.12 7.3': ['error Kconfig:3 there is no statement `option`'],
      },
    ],
    [
      'an option that nobody knows',
      'config A\n\tbool "a"\n\toption env\n',
      {
        '5.10': ['error Kconfig:3 there is no option `env`'],
        '6.1 6.12 7.3': ['error Kconfig:3 there is no statement `option`'],
      },
    ],
    [
      'the list of defconfigs, twice',
      'config A\n\tstring\n\toption defconfig_list\nconfig B\n\tstring\n\toption defconfig_list\n',
      { '5.10': ['error Kconfig:6 `A` is the list of defconfigs already'] },
    ],
    [
      'modules twice',
      'config A\n\tbool "a"\n\tmodules\nconfig B\n\tbool "b"\n\tmodules\n',
      {
        '6.1 6.12 7.3': ['error Kconfig:6 `A` stands for modules already'],
      },
    ],
    [
      'depends on … if',
      'config A\n\tbool "a"\n\tdepends on B if C\n',
      {
        '5.10 6.1 6.12': ['error Kconfig:3 this tree does not know `depends on` with `if`'],
        '7.3': [],
      },
    ],
    [
      'transitional',
      'config A\n\tbool\n\ttransitional\n\thelp\n\t  old\n',
      {
        '5.10 6.1 6.12': [
          'error Kconfig:3 there is no statement `transitional`',
          'error Kconfig:4 `help` cannot stand here',
          'error Kconfig:5 there is no statement `old`',
        ],
        '7.3': [],
      },
    ],
    [
      'transitional with more than a type',
      'config A\n\tbool "a"\n\ttransitional\n',
      {
        '7.3': ['error Kconfig:1 `A` is transitional: it may have a type and a help text, nothing else'],
      },
    ],
    [
      'an optional choice',
      'choice\n\tprompt "c"\n\toptional\nconfig A\n\tbool "a"\nendchoice\n',
      {
        '5.10 6.1': [],
        '6.12 7.3': ['error Kconfig:3 `optional` cannot stand in a choice'],
      },
    ],
    [
      'a choice with a name',
      'choice C\n\tprompt "c"\nconfig A\n\tbool "a"\nendchoice\n',
      {
        '5.10 6.1': [],
        '6.12 7.3': [
          'error Kconfig:1 `C` is not expected here',
          'error Kconfig:2 `prompt` cannot stand here',
          'error Kconfig:5 `endchoice` closes nothing: no block is open',
        ],
      },
    ],
    [
      'a tristate choice',
      'choice\n\ttristate "c"\nconfig A\n\ttristate "a"\nendchoice\n',
      {
        '5.10 6.1': [],
        '6.12 7.3': [
          'error Kconfig:2 `tristate` cannot stand in a choice',
          'error Kconfig:3 `A` is in a choice and not bool',
        ],
      },
    ],
    [
      'bool as prompt of a choice',
      'choice\n\tbool "c"\nconfig A\n\tbool "a"\nendchoice\n',
      {
        '5.10 6.1 6.12': [],
        '7.3': ['error Kconfig:2 `bool` cannot stand in a choice'],
      },
    ],
    [
      'a choice without prompt, and a member without',
      'choice\nconfig A\n\tbool\nendchoice\n',
      {
        '5.10 6.1': [
          'warning Kconfig:2 `A` is in a choice and has no prompt',
          'warning Kconfig:1 the choice has no prompt',
        ],
        '6.12 7.3': ['error Kconfig:2 `A` is in a choice and has no prompt'],
      },
    ],
    [
      'a choice without prompt',
      'choice\nconfig A\n\tbool "a"\nendchoice\n',
      {
        '5.10 6.1': ['warning Kconfig:1 the choice has no prompt'],
        '6.12 7.3': ['error Kconfig:1 the choice has no prompt'],
      },
    ],
    [
      'a member with a default',
      'choice\n\tprompt "c"\nconfig A\n\tbool "a"\n\tdefault y\nendchoice\n',
      {
        '5.10 6.1': [
          'warning Kconfig:5 `A` is in a choice: it takes its value from there and can have no default',
        ],
        '6.12 7.3': [
          'error Kconfig:5 `A` is in a choice: it takes its value from there and can have no default',
        ],
      },
    ],
    [
      'a member with a prompt elsewhere',
      'choice\n\tprompt "c"\nconfig A\n\tbool "a"\nendchoice\nconfig A\n\tbool "again"\n',
      {
        '5.10 6.1': ['warning Kconfig:7 `A` is in a choice and has a prompt elsewhere too'],
        '6.12 7.3': ['error Kconfig:7 `A` is in a choice and has a prompt elsewhere too'],
      },
    ],
    [
      'the default of a choice is none of it',
      'choice\n\tprompt "c"\n\tdefault B\nconfig A\n\tbool "a"\nendchoice\n',
      {
        [all]: ['warning Kconfig:3 the default of the choice is none of its members: `B`'],
      },
    ],
    [
      'a default of a choice in quotes',
      'choice\n\tprompt "c"\n\tdefault "A"\nconfig A\n\tbool "a"\nendchoice\n',
      {
        [all]: ['error Kconfig:3 the default of a choice is one of its members, not `"A"`'],
      },
    ],
    [
      'menuconfig without prompt',
      'menuconfig A\n\tbool\n',
      {
        '5.10 6.1 6.12': ['warning Kconfig:1 the menu of `A` has no prompt'],
        '7.3': ['error Kconfig:1 the menu of `A` has no prompt'],
      },
    ],
    [
      'two help texts',
      'config A\n\tbool "a"\n\thelp\n\t  one\n\thelp\n\t  two\n',
      {
        '5.10 6.1 6.12': ['warning Kconfig:5 `A` has more than one help text'],
        '7.3': ['error Kconfig:5 `A` has more than one help text'],
      },
    ],
    [
      'a blank help text',
      'config A\n\tbool "a"\n\thelp\n\nconfig B\n\tbool "b"\n',
      {
        '5.10 6.1 6.12': ['warning Kconfig:3 the help text of `A` is blank'],
        '7.3': ['error Kconfig:3 the help text of `A` is blank'],
      },
    ],
    [
      'types, twice',
      'config A\n\tbool "a"\n\tint\n',
      { [all]: ['warning Kconfig:3 `A` is bool already; that it is int here counts for nothing'] },
    ],
    ['no type', 'config A\n\tprompt "a"\n', { [all]: ['warning Kconfig:1 `A` has no type'] }],
    [
      'prompts, twice, and blanks',
      'config A\n\tbool " a"\n\tprompt "b"\n',
      {
        [all]: [
          'warning Kconfig:2 the blanks at the start of the text are ignored',
          'warning Kconfig:3 the entry has a prompt already',
        ],
      },
    ],
    [
      'defaults that are none',
      'config A\n\tint "a"\n\tdefault x\n\tdefault B && C\n',
      {
        [all]: [
          'warning Kconfig:3 the default of `A` is no number: `x`',
          'warning Kconfig:4 the default of `A` counts for nothing: of int it is one symbol or constant',
        ],
      },
    ],
    [
      'select between wrong types',
      'config A\n\tint "a"\n\tselect B\nconfig B\n\tstring "b"\nconfig C\n\tbool "c"\n\timply B\n',
      {
        [all]: [
          'warning Kconfig:3 `A` has a select, but is neither bool nor tristate',
          'warning Kconfig:8 `imply` does nothing to `B`, which is neither bool nor tristate',
        ],
      },
    ],
    [
      'ranges',
      'config A\n\tbool "a"\n\trange 1 2\nconfig B\n\thex "b"\n\trange x 2\n',
      {
        [all]: [
          'warning Kconfig:3 `A` has a range, but is neither int nor hex',
          'warning Kconfig:6 a bound of the range of `B` is no number',
        ],
      },
    ],
    [
      'characters that mean nothing, and no line feed',
      'config A ; \n\tbool "a" @',
      {
        '5.10 6.1': [
          'warning Kconfig:1 the character `;` is ignored',
          'warning Kconfig:2 the character `@` is ignored',
          'warning Kconfig:2 the last line does not end with a line feed',
        ],
        '6.12 7.3': [
          'warning Kconfig:1 the character `;` is ignored',
          'warning Kconfig:2 the character `@` is ignored',
          'error Kconfig:2 the last line does not end with a line feed',
        ],
      },
    ],
    [
      'a string that is not closed',
      'config A\n\tbool "a\n',
      { [all]: ['warning Kconfig:2 the string is not closed on its line'] },
    ],
    [
      'a dependency on itself',
      'config A\n\tbool "a"\n\tdepends on B\nconfig B\n\tbool "b"\n\tselect A\n\tdepends on A\n',
      {
        [all]: ['error Kconfig:1 `A` rests on itself: `A` → `B` → `A`'],
      },
    ],
    [
      'members that depend on each other',
      'choice\n\tprompt "c"\nconfig A\n\tbool "a"\n\tdepends on B\nconfig B\n\tbool "b"\nendchoice\n',
      { [all]: ['error Kconfig:1 the choice `c` rests on itself: the choice `c` → the choice `c`'] },
    ],
    [
      'the bound of a range, where nobody looks for circles',
      'config A\n\tint "a"\n\trange B 9\nconfig B\n\tint "b"\n\tdefault A\n',
      { [all]: [] },
    ],
    [
      'whether a bool is m, which is no question',
      'config A\n\tbool "a" if B!=m\n\tdepends on B=m\nconfig B\n\tbool "b"\n\tdepends on A\n',
      { [all]: [] },
    ],
    [
      'whether a bool is m, where it is a value',
      'config A\n\tbool "a"\n\tdefault B=m\nconfig B\n\tbool "b"\n\tdepends on A\n',
      { [all]: ['error Kconfig:1 `A` rests on itself: `A` → `B` → `A`'] },
    ],
    [
      'what never holds, where a menu hides it as well',
      'menu "m"\n\tvisible if A\nconfig A\n\tbool "a" if !(y)\nendmenu\n',
      { '5.10 6.1': ['error Kconfig:3 `A` rests on itself: `A` → `A`'], '6.12 7.3': [] },
    ],
    [
      'what a condition that never holds depends on',
      'config A\n\tbool "a"\n\tdepends on n\n\tdefault y if B\nconfig B\n\tbool "b"\n\tdepends on A\n',
      { '5.10 6.1': ['error Kconfig:1 `A` rests on itself: `A` → `B` → `A`'], '6.12 7.3': [] },
    ],
    [
      'a bool or its contrary, which holds always',
      'config A\n\tbool "a"\n\tdepends on B || !(B && y)\nconfig B\n\tbool "b"\n\tdepends on A\n',
      { [all]: [] },
    ],
    [
      'a bool and its contrary, which the program lets stand',
      'config A\n\tbool "a"\n\tdepends on B && !B\nconfig B\n\tbool "b"\n\tdepends on A\n',
      { [all]: ['error Kconfig:1 `A` rests on itself: `A` → `B` → `A`'] },
    ],
    [
      'the contrary of one that always holds, which is such a pair',
      'config A\n\tbool "a"\n\tdepends on !(!B || B)\nconfig B\n\tbool "b"\n\tdepends on A\n',
      { [all]: ['error Kconfig:1 `A` rests on itself: `A` → `B` → `A`'] },
    ],
    [
      'a file that is not there',
      'source "gauges/Kconfig"\n',
      { [all]: ['error Kconfig:1 there is no file `gauges/Kconfig` in the tree'] },
    ],
    [
      'a file that sources itself',
      'source "Kconfig"\n',
      { [all]: ['error Kconfig:1 `Kconfig` sources itself'] },
    ],
    [
      'an assignment behind a help text',
      'config A\n\tbool "a"\n\thelp\n\t  text\nX = y\n',
      { [all]: ['error Kconfig:5 there is no statement `X`'] },
    ],
    [
      'a macro that is not closed',
      'X := $(info,a\n',
      { [all]: ['error Kconfig:1 the reference to `info,a` is not closed: `)` is missing'] },
    ],
  ];
  const rows = table.flatMap(([name, text, by]) =>
    Object.entries(by).flatMap(([names, expected]) =>
      names.split(' ').map((release) => [release as Release, name, text, expected] as const),
    ),
  );
  test.each(rows)('%s: %s', (release, _name, text, expected) => {
    expect(complaints(parseSmall(text, { release }))).toEqual(expected);
  });
});

describe('files', () => {
  test('a tree without its program is read by the newest rules, which is said', () => {
    const text = 'config A\n\tbool "a"\n\tdepends on B if B\nconfig B\n\tbool "b"\n';
    const { model, diagnostics } = parseTree({
      files: { read: (path) => (path === 'Kconfig' ? text : undefined) },
      probes: { answer: () => undefined },
      environment: {},
    });
    expect(model?.dialect).toBe(dialects['7.3']);
    expect(diagnostics.map(({ severity, code }) => `${severity} ${code}`)).toEqual([
      'warning kconfig/dialect',
    ]);
  });

  test('a complaint about a sourced file says where it is sourced from', () => {
    const parsed = parseSmall({ Kconfig: 'source "a"\n', a: '\nsource "b"\n', b: 'gauge\n' });
    expect(complaints(parsed)).toEqual(['error b:1 there is no statement `gauge`']);
    expect(parsed.diagnostics[0]?.notes).toEqual(['included from a:2', 'included from Kconfig:1']);
  });

  test('a circle of files', () => {
    const parsed = parseSmall({ Kconfig: 'source "a"\n', a: 'source "b"\n', b: 'source "a"\n' });
    expect(complaints(parsed)).toEqual(['error b:1 `a` sources itself']);
  });

  test('a block is closed in its own file', () => {
    const parsed = parseSmall({ Kconfig: 'source "a"\nendmenu\n', a: 'menu "m"\n' });
    expect(complaints(parsed)).toEqual(['error Kconfig:2 `endmenu` closes a block of another file: a:1']);
  });

  test.each<[Release, readonly string[]]>([
    ['6.12', []],
    ['7.3', ['error Kconfig:2 `a` is sourced a second time']],
  ])('a file that is sourced twice, in %s', (release, expected) => {
    expect(complaints(parseSmall({ Kconfig: 'source "a"\nsource "a"\n', a: '' }, { release }))).toEqual(
      expected,
    );
  });

  test('the place of the tree in front of a path', () => {
    const files = { Kconfig: 'source "$(srctree)/a"\n', a: 'config A\n\tbool "a"\n' };
    expect(modelOf(files, { environment: { srctree: '/src' } }).byName.get('A')?.type).toBe('bool');
  });

  test('no Kconfig at all', () => {
    expect(complaints(parseSmall({}))).toEqual(['error - there is no file `Kconfig` in the tree']);
  });
});

test('the model tells where everything stands', () => {
  const model = modelOf(
    'mainmenu "Otter Bank"\nmenu "gauges"\n\tdepends on RIVER\nconfig A\n\ttristate "a" if B\n\tdefault m if C = y\n\tselect D\n\trange 1 2\n\tdepends on E || F\n\tdepends on G if !H\n\thelp\n\t  It counts.\n\n\t    Twice.\n\nendmenu\n',
  );
  const symbol = model.byName.get('A');
  const [node] = symbol?.nodes ?? [];
  expect(model.mainMenu).toBe('Otter Bank');
  expect(node).toMatchObject({ kind: 'config', file: 'Kconfig', line: 4, parent: { kind: 'menu', line: 2 } });
  expect(node?.dependencies.map(({ line, expr }) => `${line} ${expressionText(expr)}`)).toEqual([
    '9 E || F',
    '10 G || H != n',
  ]);
  expect(node?.dependencies[1]?.conditional).toMatchObject({
    needs: { kind: 'symbol' },
    when: { kind: 'not' },
  });
  expect(symbol?.prompts[0]).toMatchObject({ text: 'a', line: 5 });
  expect(symbol?.defaults[0]?.condition && expressionText(symbol.defaults[0].condition)).toBe('C = y');
  expect(model.byName.get('D')?.selectedBy[0]).toMatchObject({ selector: { name: 'A' }, line: 7 });
  const text = 'config A\n\tbool "a"\n\thelp\n\t  It counts.\n\n\t    Twice.\n\nconfig B\n\tbool "b"\n';
  const [first, second] = modelOf(text).nodes.slice(1);
  const files = { read: (): string => text };
  expect(first && helpText(first, files)).toBe('It counts.\n\n  Twice.');
  expect(second && helpText(second, files)).toBeUndefined();
});

test('a choice may have a help text', () => {
  const text = 'choice\n\tprompt "c"\n\thelp\n\t  Which.\n\nconfig A\n\tbool "a"\nendchoice\n';
  const [, choice] = modelOf(text).nodes;
  expect(choice && helpText(choice, { read: () => text })).toBe('Which.');
});

test('a help text at the first column swallows the line behind it', () => {
  const model = modelOf('config A\n\tbool "a"\n\thelp\nconfig B\n\n\tbool "b"\nconfig C\n\tbool "c"\n');
  expect([...model.byName.keys()]).toEqual(['A', 'C']);
});

describe('members of a choice in older trees', () => {
  const entry = (name: string, more = ''): string => `config ${name}\n\tbool "${name}"\n${more}`;
  const on = (text: string): string => `\tdepends on ${text}\n`;
  const outside = entry('X') + entry('Y');
  // The conf of Linux 5.10.262 and 6.1.192 agrees on each: a member that rests on another one is a circle.
  test.each([
    ['one that needs the one before moves below it', entry('A') + entry('B', on('A')) + entry('C'), 'A C'],
    ['also when it needs it to be off', entry('A') + entry('B', on('!A')) + entry('C'), 'A C'],
    ['not when the one before needs more', entry('A', on('X')) + entry('B', on('A || Y')), 'circle'],
    ['when it needs all that the other needs', entry('A', on('X')) + entry('B', on('X && (A || Y)')), 'A'],
    ['comparisons count', entry('A', on('X = y')) + entry('B', on('X != n && (A || Y)')), 'A'],
    ['and negated ones', entry('A', on('X = n && m')) + entry('B', on('X != y && m && (A || Y)')), 'A'],
    ['in any order', entry('A', on('X || !Y')) + entry('B', on('(A || Y) && (!Y || X)')), 'A'],
    ['that it is not off is one', entry('A') + entry('B', on('A != n')) + entry('C'), 'A C'],
    ['other values too', entry('A', on('V > 3')) + entry('B', on('V > 3 && (A = y || Y)')), 'A'],
    ['only without a gap', entry('A') + entry('C') + entry('B', on('A')), 'circle'],
    ['chains', entry('A') + entry('B', on('A')) + entry('C', on('B && A')) + entry('D'), 'A D'],
    ['blocks are dissolved', `${entry('A')}if X\n${entry('B')}${entry('C')}endif\n`, 'A B C'],
    [
      'a block on the one before moves below it',
      `${entry('A')}if A = y\n${entry('B')}endif\n${entry('C')}`,
      'A C',
    ],
    ['what has no prompt gathers nothing below it', `config A\n\tbool\n${entry('B', on('A'))}`, 'circle'],
  ])('%s', (_name, body, expected) => {
    const text = `${outside}config V\n\tint "v"\nchoice\n\tprompt "c"\n${body}endchoice\n`;
    const { model, diagnostics } = parseSmall(text, { release: '6.1' });
    if (model) expect((model.choices[0]?.members ?? []).map(({ name }) => name).join(' ')).toBe(expected);
    else
      expect(diagnostics.map(({ message }) => message).join()).toMatch(
        expected === 'circle' ? /rests on itself/ : /^$/,
      );
  });
});

describe('optional, named and tristate choices of older trees', () => {
  const kconfig =
    'config MODULES\n\tbool "m"\n\tmodules\nchoice PORT\n\ttristate "port"\n\tOPT\nconfig A\n\ttristate "a"\nconfig B\n\ttristate "b"\nconfig C\n\tbool "c"\nendchoice\n';
  const body = (text: string): string => text.split('\n').slice(4, -1).join(' ');
  // Made by the conf of Linux 6.1.192.
  test.each([
    ['', 'CONFIG_MODULES=y\nCONFIG_A=m\nCONFIG_B=m\n', 'CONFIG_MODULES=y CONFIG_A=m CONFIG_B=m'],
    [
      '',
      'CONFIG_MODULES=y\nCONFIG_B=y\n',
      'CONFIG_MODULES=y # CONFIG_A is not set CONFIG_B=y # CONFIG_C is not set',
    ],
    [
      '',
      'CONFIG_A=m\n',
      '# CONFIG_MODULES is not set CONFIG_A=y # CONFIG_B is not set # CONFIG_C is not set',
    ],
    ['optional', '', '# CONFIG_MODULES is not set'],
  ])('%s %j', (optional, config, expected) => {
    const model = modelOf(kconfig.replace('\tOPT\n', optional === '' ? '' : '\toptional\n'), {
      release: '6.1',
    });
    expect(body(configure(model, 'olddefconfig', config).text)).toBe(expected);
  });
});

describe('hostile texts', () => {
  const deep = 20_000;
  const long = 10_000_000;
  const chain = (count: number): string =>
    Array.from({ length: count }, (_, at) => `config A${at}\n\tdef_bool A${at + 1}\n`).join('');
  test.each<[string, string, RegExp | undefined]>([
    ['a line of ten megabytes', `config ${'A'.repeat(long)}\n\tbool "a"\n`, undefined],
    ['a string of ten megabytes', `config A\n\tbool "${'a'.repeat(long)}`, /not closed|line feed|ends/],
    ['ten megabytes of nothing that means anything', '\u0000\u00ff@'.repeat(1_000_000), /is ignored/],
    ['macros without end on one line', `X := ${'$(a)'.repeat(300_000)}\n`, undefined],
    ['macros in macros', `X := ${'$('.repeat(deep)}\n`, /not closed/],
    [
      'closed macros in macros',
      `X := ${'$('.repeat(deep)}${')'.repeat(deep)}\n`,
      /nested too deeply|too long/,
    ],
    ['parentheses', `config A\n\tbool "a" if ${'('.repeat(deep)}B${')'.repeat(deep)}\n`, /nested too deeply/],
    ['negations', `config A\n\tbool "a" if ${'!'.repeat(deep)}B\n`, undefined],
    ['a condition of many terms', `config A\n\tbool "a" if ${'B && '.repeat(deep)}C\n`, undefined],
    ['blocks', 'if A\n'.repeat(deep), /nested too deeply/],
    ['a long chain of defaults', chain(deep), undefined],
    ['a variable that refers to itself', 'X = $(X)\nY := $(X)\n', /refers to itself/],
    ['a function that calls itself', 'X = $(X,a)\nY := $(X,a)\n', /nested too deeply/],
    [
      'expansions that double',
      `A0 = x\n${Array.from({ length: 40 }, (_, at) => `A${at + 1} = $(A${at})$(A${at})\n`).join('')}Y := $(A40)\n`,
      /takes too long/,
    ],
    ['thousands of faults', 'gauge\n'.repeat(deep), /no statement/],
    ['thousands of doubts', 'config A\n\tbool "a"\n\tint\n'.repeat(deep / 2), /already/],
  ])('%s', { timeout: 60_000 }, (_name, text, expected) => {
    const started = process.cpuUsage();
    const parsed = parseSmall(text);
    if (parsed.model) configure(parsed.model, 'alldefconfig');
    const messages = parsed.diagnostics.map(({ message }) => message).join('\n');
    if (expected) expect(messages).toMatch(expected);
    else expect(messages).toBe('');
    // Of the processor's time, since others may want the machine too; in microseconds.
    expect(process.cpuUsage(started).user).toBeLessThan(10_000_000);
  });

  test('a file that sources itself by ever new names', () => {
    const text = 'X := $(X)./\nsource "$(X)Kconfig"\n';
    const parsed = parseTree({
      files: { read: () => text },
      probes: { answer: () => undefined },
      environment: {},
      dialect: dialects['6.12'],
    });
    expect(parsed.diagnostics.map(({ code }) => code)).toEqual(['kconfig/too-deep']);
  });

  test('files that are sourced again and again', () => {
    const files: Record<string, string> = { f20: '' };
    for (let at = 0; at < 20; at += 1)
      files[at === 0 ? 'Kconfig' : `f${at}`] = `source "f${at + 1}"\n`.repeat(2);
    const parsed = parseSmall(files, { release: '6.12' });
    expect(parsed.diagnostics.map(({ code }) => code)).toEqual(['kconfig/too-large']);
  });
});
