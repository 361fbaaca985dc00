/** Choices of older trees, which have a value of their own, and conditions of every form. */
import { describe, expect, test } from 'vitest';

import { explainOption } from '../../src/kconfig/explain-option.ts';
import { explanationText } from '../../src/kconfig/explanation-text.ts';
import { asked, judgeSmall, kconfig, smallInput } from './judge-small.ts';

const older = kconfig`
  config MODULES
    bool "Modules"
    option modules
    default y

  config RIVER
    bool "River"

  choice
    tristate "Drivers"
    depends on RIVER

  config ONE
    tristate "One"

  config TWO
    tristate "Two"

  config PLAIN
    bool "Plain"

  endchoice

  choice
    bool "Maybe"
    optional

  config PERHAPS
    bool "Perhaps"

  endchoice
`;

describe('a choice with a value of its own', () => {
  test.each<[string[], string, string]>([
    [['ONE=m'], 'dropped', 'It needs RIVER, which is off (Kconfig:11). Ask for RIVER=y too.'],
    [['PERHAPS=y'], 'kept', 'The configuration has it as asked.'],
    [['RIVER=y', 'ONE=m'], 'kept', 'The configuration has it as asked.'],
    [['RIVER=y', 'ONE=y', 'TWO=y'], 'kept', 'The configuration has it as asked.'],
  ])('%j: %s, %s', (requests, verdict, message) => {
    expect(judgeSmall(older, asked(...requests), { dialect: '5.10' }).at(-1)).toMatchObject({
      verdict,
      message,
    });
  });

  test('a member that is no module needs the choice to be y', () => {
    const verdicts = judgeSmall(older, asked('RIVER=y', 'ONE=m', 'PLAIN=y'), { dialect: '5.10' });
    expect(verdicts.map(({ option, verdict }) => `${verdict} ${option}`)).toEqual([
      'kept RIVER',
      'dropped ONE',
      'kept PLAIN',
    ]);
    const plain = judgeSmall(older, asked('RIVER=y', 'PLAIN=n', 'ONE=m', 'TWO=m'), { dialect: '5.10' });
    expect(plain.every(({ verdict }) => verdict === 'kept')).toBe(true);
  });
});

test('of a choice that is a module no member can be built in, and one that is off needs to be on', () => {
  const text = kconfig`
    config MODULES
      bool "Modules"
      option modules
      default y
    config BUS
      tristate "Bus"
    choice
      tristate "Drivers"
      depends on BUS
    config ONE
      tristate "One"
    config PLAIN
      bool "Plain"
    endchoice
    config RIVER
      bool "River"
    choice
      bool "Maybe"
      optional
    config PERHAPS
      bool "Perhaps"
      depends on RIVER
    endchoice
  `;
  const last = (...requests: string[]): string | undefined =>
    judgeSmall(text, asked(...requests), { dialect: '5.10' }).at(-1)?.message;
  expect(last('BUS=m', 'PLAIN=y')).toBe(
    'It needs the choice `Drivers` built in (Kconfig:7). Ask for ONE or PLAIN as `y`.',
  );
  expect(last('PERHAPS=y')).toBe(
    'It needs RIVER, which is off (Kconfig:22) and the choice `Maybe` built in (Kconfig:17). Ask for PERHAPS as `y`. Ask for RIVER=y too.',
  );
});

const conditions = kconfig`
  config MODULES
    bool "Modules"
    modules
    default y

  config A
    tristate "A"

  config B
    tristate "B"

  config C
    bool "C"
    select HELD

  config HELD
    tristate "Held"

  config DEPTH
    int "Depth"
    default 3

  config LIMIT
    int
    default 5

  config AUTO
    bool

  config SETS_AUTO
    bool "Sets auto"
    select AUTO

  config X_OR
    bool "x"
    depends on A = y && B != n || C

  config X_NOT
    bool "x"
    depends on !(A || HELD)

  config X_COMPARED
    bool "x"
    depends on DEPTH > LIMIT

  config X_MIRRORED
    bool "x"
    depends on 10 < DEPTH

  config X_UNCOMPARED
    bool "x"
    depends on !(DEPTH = 3)

  config X_MODULE
    bool "x"
    depends on A = m

  config X_ANY
    bool "x"
    depends on m

  config X_AUTO
    bool "x"
    depends on AUTO

  config X_FREE
    bool "x"
    depends on !AUTO

  config X_AND
    bool "x"
    depends on !(A && B)

  menu "Shown"
    visible if C

  config X_MENU
    bool "x"

  endmenu

  choice
    prompt "Rate"

  config R1
    bool "1"

  config R2
    bool "2"

  endchoice

  config X_RATE
    bool "x"
    depends on R2

  config X_NO_RATE
    bool "x"
    depends on !R1

  config X_UNDEFINED
    bool "x"
    depends on WATERFALL < 3
`;

describe('conditions of every form', () => {
  test.each<[string[], string]>([
    [['X_OR=y'], 'It needs C, which is off (Kconfig:36). Ask for C=y too.'],
    [
      ['C=y', 'X_NOT=y'],
      'It needs HELD to be a module or off, and that is on (Kconfig:40). C, which is on, as otter.config:1 asks (Kconfig:14) keeps HELD on: that must be off first.',
    ],
    [
      ['A=y', 'X_NOT=y'],
      'It needs A to be a module or off, and that is on (Kconfig:40). otter.config:1 asks for A=`y`: change that to A=n.',
    ],
    [
      ['X_COMPARED=y'],
      'It needs DEPTH > LIMIT (5), and that is `3` (Kconfig:44). Ask for DEPTH > LIMIT (5) too.',
    ],
    [['X_MIRRORED=y'], 'It needs DEPTH > 10, and that is `3` (Kconfig:48). Ask for DEPTH > 10 too.'],
    [['X_UNCOMPARED=y'], 'It needs DEPTH != 3, and that is `3` (Kconfig:52). Ask for DEPTH != 3 too.'],
    [['X_MODULE=y'], 'It needs A to be a module, and that is off (Kconfig:56). Ask for A=m too.'],
    [
      ['MODULES=n', 'X_ANY=y'],
      'It needs MODULES, which is off (Kconfig:60). otter.config:1 asks for MODULES=`n`: change that to MODULES=y.',
    ],
    [
      ['X_AUTO=y'],
      'It needs AUTO, which is off (Kconfig:64). AUTO has no prompt, so that nobody can set it by hand: it comes on with SETS_AUTO.',
    ],
    [
      ['SETS_AUTO=y', 'X_FREE=y'],
      'It needs AUTO to be off, and that is on (Kconfig:68). SETS_AUTO, which is on, as otter.config:1 asks (Kconfig:32) keeps AUTO on: that must be off first.',
    ],
    [
      ['A=y', 'B=y', 'X_AND=y'],
      'It needs A to be a module or off, and that is on (Kconfig:72). otter.config:1 asks for A=`y`: change that to A=n.',
    ],
    [['X_MENU=y'], 'It needs C, which is off (Kconfig:74). Ask for C=y too.'],
    [['X_RATE=y'], 'It needs R2, which is off (Kconfig:95). Ask for R2=y too.'],
    [
      ['X_NO_RATE=y'],
      'It needs R1 to be off, and that is on (Kconfig:99). R1 goes off once another one of its choice is on: ask for R2=y.',
    ],
    [
      ['X_UNDEFINED=y'],
      'It needs WATERFALL < 3, and that is not there (Kconfig:103). WATERFALL does not exist for this architecture. It cannot be so here: leave X_UNDEFINED out.',
    ],
  ])('%j: %s', (requests, message) => {
    expect(judgeSmall(conditions, asked(...requests)).at(-1)?.message).toBe(message);
  });

  test('with neither modules nor a symbol for them `m` is never true', () => {
    expect(judgeSmall('config A\n\tbool "A"\n\tdepends on m\n', asked('A=y'))[0]).toMatchObject({
      verdict: 'dropped',
      reason: { kind: 'dependency', contradictory: true },
    });
  });
});

test('an option without prompt that lacks a dependency of its own, or follows what nobody sets', () => {
  const text = kconfig`
    config MEMORY
      bool "Memory"
    config SWAP
      def_bool y
      depends on MEMORY
    config BORN
      bool
    config CHILD
      bool "Child"
      depends on BORN
  `;
  const [swap, child, born] = judgeSmall(text, asked('SWAP=y', 'CHILD=y', 'BORN=y'));
  expect(swap).toMatchObject({
    verdict: 'dropped',
    reason: { kind: 'no-prompt', terms: [{ option: 'MEMORY' }] },
  });
  expect(swap?.message).toMatch(/It needs MEMORY, which is off \(Kconfig:5\)\. Ask for MEMORY=y too\.$/u);
  expect(child?.message).toBe(
    'It needs BORN, which is off (Kconfig:10). BORN has no prompt, so that nobody can set it by hand; the architecture or the tree decides. It cannot be so here: leave CHILD out.',
  );
  expect(born?.message).toBe(
    'It has no prompt, so that nobody can set it by hand; other options decide. Nothing in this tree sets it for this architecture.',
  );
});

describe('terms that several conditions have in common, and what decides over them', () => {
  const text = kconfig`
    config MODULES
      bool "Modules"
      modules
      default y
    config DEPTH
      int "Depth"
      default 3
    config RIVER
      bool "River"
    config PUMP
      tristate "Pump"
      imply FLOAT
      select VALVE
    config FLOAT
      tristate "Float" if RIVER
    config VALVE
      tristate
    config X_WHOLE
      tristate "x"
      depends on !m
    config X_NEVER
      bool "x"
      depends on DEPTH > 5 && !(DEPTH > 5)
    config X_SHUT
      bool "x"
      depends on !VALVE
    config X_OPEN
      bool "x"
      depends on VALVE
  `;
  test.each<[string[], string, readonly string[]]>([
    [
      ['PUMP=y', 'FLOAT=n'],
      'It is on since PUMP, which is on, as otter.config:1 asks (Kconfig:12) implies it, and that cannot be changed by hand as things are. It needs RIVER, which is off (Kconfig:15). Ask for RIVER=y too.',
      ['    needs RIVER, which is off (Kconfig:15)', '      can be set'],
    ],
    [
      ['X_WHOLE=y'],
      'It needs MODULES to be off, and that is on (Kconfig:20). Ask for MODULES=n too.',
      ['    needs MODULES to be off, and that is on (Kconfig:20)', '      can be set'],
    ],
    [
      ['X_NEVER=y'],
      'Its conditions exclude each other or can never hold together: DEPTH > 5 (Kconfig:23). Leave the request out.',
      ['    needs DEPTH > 5, and that is `3` (Kconfig:23)', '      can be set'],
    ],
    [
      ['PUMP=y', 'X_SHUT=y'],
      'It needs VALVE to be a module or off, and that is on (Kconfig:26). PUMP, which is on, as otter.config:1 asks (Kconfig:13) keeps VALVE on: that must be off first.',
      [
        '    needs VALVE to be a module or off, and that is on (Kconfig:26)',
        '      selected by PUMP=y (Kconfig:13)',
      ],
    ],
    [
      ['X_OPEN=y'],
      'It needs VALVE, which is off (Kconfig:29). VALVE has no prompt, so that nobody can set it by hand: it comes on with PUMP.',
      [
        '    needs VALVE, which is off (Kconfig:29)',
        '      has no prompt',
        '      n  PUMP selects it (Kconfig:13)',
      ],
    ],
  ])('%j: %s', (requests, message, outline) => {
    const list = asked(...requests);
    expect(judgeSmall(text, list).at(-1)?.message).toBe(message);
    const explained = explanationText(explainOption(smallInput(text, list), list.at(-1)?.option ?? ''));
    expect(explained.split('\n').slice(2, 2 + outline.length)).toEqual(outline);
  });
});
