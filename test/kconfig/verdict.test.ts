import { describe, expect, test } from 'vitest';

import { judgeRequests } from '../../src/kconfig/verdict.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { asked, judgeSmall, kconfig, smallModel, type Small } from './judge-small.ts';

const station = kconfig`
  config MODULES
    bool "Modules"
    modules
    default y

  config RIVER
    bool "River"

  config GAUGE
    tristate "Gauge"
    depends on RIVER

  config SONAR
    tristate "Sonar"
    depends on GAUGE && !DRY

  config DRY
    bool "Dry"

  config PUMP
    bool "Pump"
    select VALVE
    select TANK

  config VALVE
    tristate "Valve"

  config TANK
    bool

  config DEPTH
    int "Depth"
    range 10 DEEPEST
    default 50

  config DEEPEST
    int
    default 100

  config BASE
    hex "Base"
    default 0x10

  config NAME
    string "Name"
    default "otter"

  config AUTO
    def_bool RIVER && GAUGE = y

  config HIDDEN
    bool "Hidden" if DRY
    default y

  choice
    prompt "Speed"
    default SLOW

  config SLOW
    bool "Slow"

  config FAST
    bool "Fast"

  config RAPID
    bool "Rapid"
    depends on PUMP

  endchoice
`;

/** `verdict OPTION asked → got [kind]`, as data of one line. */
function outcome(text: string, requests: readonly string[], small: Small = {}): readonly string[] {
  return judgeSmall(text, asked(...requests), small).map(
    ({ verdict, option, requested, value, reason }) =>
      `${verdict} ${option} ${requested} → ${String(value)} [${reason.kind}]`,
  );
}

describe('a verdict is decided by value', () => {
  test.each<[string[], string]>([
    [['RIVER=y'], 'kept RIVER y → y [as-asked]'],
    [['RIVER=n'], 'kept RIVER n → n [as-asked]'],
    [['RIVER=m'], 'invalid RIVER m → n [wrong-type]'],
    [['GAUGE=m'], 'dropped GAUGE m → n [dependency]'],
    [['GAUGE=n'], 'kept GAUGE n → n [as-asked]'],
    [['PUMP=y', 'VALVE=m'], 'raised VALVE m → y [selected]'],
    [['PUMP=y', 'VALVE=n'], 'raised VALVE n → y [selected]'],
    [['PUMP=y', 'TANK=n'], 'raised TANK n → y [selected]'],
    [['TANK=y'], 'dropped TANK y → n [no-prompt]'],
    [['AUTO=y'], 'dropped AUTO y → n [no-prompt]'],
    [['HIDDEN=n'], 'raised HIDDEN n → y [dependency]'],
    [['RIVER=y', 'GAUGE=m', 'SONAR=y'], 'lowered SONAR y → m [dependency]'],
    [['RIVER=y', 'GAUGE=y', 'DRY=y', 'SONAR=m'], 'dropped SONAR m → n [dependency]'],
    [['DEPTH=60'], 'kept DEPTH 60 → 60 [as-asked]'],
    [['DEPTH=5'], 'invalid DEPTH 5 → 10 [out-of-range]'],
    [['DEPTH=500'], 'invalid DEPTH 500 → 100 [out-of-range]'],
    [['DEPTH=0x20'], 'invalid DEPTH 0x20 → 50 [wrong-type]'],
    [['DEEPEST=200'], 'dropped DEEPEST 200 → 100 [no-prompt]'],
    [['BASE=20'], 'kept BASE 20 → 20 [as-asked]'],
    [['BASE=0x0010'], 'kept BASE 0x0010 → 0x0010 [as-asked]'],
    [['NAME="heron"'], 'kept NAME "heron" → "heron" [as-asked]'],
    [['NAME=heron'], 'invalid NAME heron → "otter" [wrong-type]'],
    [['NAME=n'], 'invalid NAME n → "otter" [wrong-type]'],
    [['MODULES=n', 'VALVE=m'], 'raised VALVE m → y [modules-off]'],
    [['FAST=y', 'SLOW=y'], 'kept SLOW y → y [as-asked]'],
    [['SLOW=n', 'FAST=n'], 'kept FAST n → n [as-asked]'],
    [['RAPID=y'], 'dropped RAPID y → n [dependency]'],
    [['RAPID=n'], 'kept RAPID n → n [as-asked]'],
    [['OTTER=y'], 'unknown OTTER y → n [no-such-option]'],
    [['OTTER="x"'], 'unknown OTTER "x" → null [no-such-option]'],
    [['GAUG=y'], 'unknown GAUG y → n [misspelt]'],
    [['CONFIG_GAUGE=y'], 'unknown CONFIG_GAUGE y → n [doubled-prefix]'],
    [['IXGB=m'], 'unknown IXGB m → n [other-version]'],
  ])('%j: %s', (requests, expected) => {
    expect(outcome(station, requests).at(-1)).toBe(expected);
  });

  test('an absent line is what "is not set" asks for, of every type', () => {
    expect(
      outcome('config LOG\n\tint "Log" if RIVER\nconfig RIVER\n\tbool "River"\n', ['LOG=n', 'LOG=7']),
    ).toEqual(['dropped LOG 7 → null [dependency]']);
    expect(outcome('config LOG\n\tint "Log" if RIVER\nconfig RIVER\n\tbool "River"\n', ['LOG=n'])).toEqual([
      'kept LOG n → null [as-asked]',
    ]);
  });

  test('a number that comes out higher is raised', () => {
    const text = 'config A\n\tint "A" if B\n\tdefault 7\nconfig B\n\tbool "B"\n';
    expect(outcome(text, ['A=5'])).toEqual(['raised A 5 → 7 [dependency]']);
    expect(outcome(text, ['A=9'])).toEqual(['dropped A 9 → 7 [dependency]']);
  });

  test('older trees forget a number that is out of range', () => {
    expect(outcome(station, ['DEPTH=5'], { dialect: '6.1' })).toEqual([
      'invalid DEPTH 5 → 50 [out-of-range]',
    ]);
  });
});

/** The message on the last request. */
function message(text: string, requests: readonly string[], small: Small = {}): string {
  return judgeSmall(text, asked(...requests), small).at(-1)?.message ?? '';
}

describe('the message says what, why and what to do', () => {
  test.each<[string[], string]>([
    [['RIVER=y'], 'The configuration has it as asked.'],
    [['RIVER=m'], 'It is on or off and cannot be a module. Write `y`.'],
    [['GAUGE=m'], 'It needs RIVER, which is off (Kconfig:11). Ask for RIVER=y too.'],
    [
      ['RIVER=n', 'GAUGE=m'],
      'It needs RIVER, which is off (Kconfig:11). otter.config:1 asks for RIVER=`n`: change that to RIVER=y.',
    ],
    [
      ['SONAR=y'],
      'It needs GAUGE, which is off (Kconfig:15). GAUGE in turn needs RIVER, which is off (Kconfig:11). Ask for RIVER=y and GAUGE=y too.',
    ],
    [
      ['RIVER=y', 'GAUGE=y', 'DRY=y', 'SONAR=m'],
      'It needs DRY to be off, and that is on (Kconfig:15). otter.config:3 asks for DRY=`y`: change that to DRY=n.',
    ],
    [
      ['RIVER=y', 'GAUGE=m', 'SONAR=y'],
      'It needs GAUGE built in, and that is a module (Kconfig:15). otter.config:2 asks for GAUGE=`m`: change that to GAUGE=y.',
    ],
    [
      ['PUMP=y', 'VALVE=m'],
      'PUMP, which is on, as otter.config:1 asks (Kconfig:22) selects it: it cannot be lower than that. Switch that off, or ask for VALVE=y.',
    ],
    [
      ['TANK=y'],
      'It has no prompt, so that nobody can set it by hand; other options decide. These select it: PUMP, which is off (Kconfig:23). Ask for one of those instead.',
    ],
    [['AUTO=n'], 'The configuration has it as asked.'],
    [
      ['HIDDEN=n'],
      'It is on by default (Kconfig:53), and that cannot be changed by hand as things are. It needs DRY, which is off (Kconfig:52). Ask for DRY=y too.',
    ],
    [
      ['DEPTH=500'],
      'It must be from 10 to 100 (the value of DEEPEST) (Kconfig:33); the kernel makes 100 of it. Ask for a value in that range.',
    ],
    [['DEPTH=0x20'], 'It takes a whole number, and `0x20` is none. Write `32`.'],
    [['BASE=zz'], 'It takes a hexadecimal number such as `0x10`, and `zz` is none.'],
    [['NAME=heron'], 'It takes a string in double quotes, and `heron` is none. Write `"heron"`.'],
    [
      ['NAME=n'],
      'It takes a string in double quotes and cannot be switched off. Write `""`, or leave the request out.',
    ],
    [['DEPTH=n'], 'It takes a whole number and cannot be switched off. Leave the request out.'],
    [['GAUGE=yes'], 'It takes `y`, `m` or `n`, and `yes` is none. Write `y`.'],
    [
      ['MODULES=n', 'VALVE=m'],
      'Modules are switched off (MODULES=n, as otter.config:1 asks), so that what is asked for as a module is built in. Ask for MODULES=y, or for VALVE=y or n.',
    ],
    [['SLOW=n'], 'The configuration has it as asked.'],
    [
      ['RAPID=n', 'FAST=n', 'SLOW=n'],
      'One of the choice `Speed` (Kconfig:55) is always on; FAST (otter.config:2) is asked to be off as well. Ask for another one instead: FAST=y.',
    ],
    [
      ['OTTER=y'],
      'This tree has no such option, no release looked at has it, and no name is near. Leave the request out.',
    ],
    [['GAUG=y'], 'This tree has no such option. Did you mean GAUGE?'],
    [['CONFIG_GAUGE=y'], 'The prefix `CONFIG_` stands there twice. Write `GAUGE`.'],
    [['CONFIG_OTTER=y'], 'The prefix `CONFIG_` stands there twice. And this tree has no `OTTER` either.'],
    [
      ['IXGB=m'],
      'This tree has no such option. Of the releases looked at (5.10, 6.1, 6.12, 7.3) 5.10 and 6.1 have it, and 6.12 and 7.3 have not. Leave the request out.',
    ],
  ])('%j: %s', (requests, expected) => {
    const small = requests[0] === 'RAPID=n' ? { dialect: '6.1' as const } : {};
    expect(message(station, requests, small)).toBe(expected);
  });
});

describe('reasons as data', () => {
  test('a term has its text, value, place and cause, and those behind it', () => {
    const [verdict] = judgeSmall(station, asked('SONAR=y'));
    expect(verdict).toEqual({
      option: 'SONAR',
      requested: 'y',
      value: 'n',
      verdict: 'dropped',
      origin: { file: 'otter.config', line: 1 },
      message: expect.any(String) as string,
      reason: {
        kind: 'dependency',
        source: { kind: 'nothing' },
        terms: [
          {
            term: 'GAUGE',
            option: 'GAUGE',
            value: 'n',
            needs: 'y',
            file: 'Kconfig',
            line: 15,
            cause: {
              kind: 'dependency',
              terms: [
                {
                  term: 'RIVER',
                  option: 'RIVER',
                  value: 'n',
                  needs: 'y',
                  file: 'Kconfig',
                  line: 11,
                  cause: { kind: 'open' },
                },
              ],
            },
          },
        ],
      },
    });
    expect(JSON.parse(JSON.stringify(verdict))).toEqual(verdict);
  });

  test('of two requests the later counts, and both origins are told', () => {
    const fragments = [
      { option: 'GAUGE', value: 'm', origin: { file: 'a.config', line: 3 } },
      { option: 'RIVER', value: 'y', origin: { file: 'a.config', line: 4 } },
      { option: 'GAUGE', value: 'y', origin: { file: 'b.config', line: 1 } },
    ];
    const verdict = judgeSmall(station, fragments).find(({ option }) => option === 'GAUGE');
    expect(verdict).toMatchObject({
      verdict: 'kept',
      origin: { file: 'b.config', line: 1 },
      overridden: [{ requested: 'm', origin: { file: 'a.config', line: 3 } }],
      message:
        'The configuration has it as asked. It was asked for as `m` (a.config:3) before; b.config:1 comes later and counts.',
    });
  });

  test('a select tells who selects, with its request; a lost choice who won', () => {
    const verdicts = judgeSmall(station, asked('PUMP=y', 'VALVE=n', 'FAST=y', 'SLOW=y'));
    expect(verdicts[1]?.reason).toEqual({
      kind: 'selected',
      by: [
        { option: 'PUMP', value: 'y', file: 'Kconfig', line: 22, origin: { file: 'otter.config', line: 1 } },
      ],
    });
    expect(verdicts[2]).toMatchObject({
      verdict: 'dropped',
      reason: { kind: 'choice-lost', winner: 'SLOW', choice: { prompt: 'Speed' }, origin: { line: 4 } },
      message:
        'Of the choice `Speed` (Kconfig:55) only one can be on, and that is SLOW, which otter.config:4 asks for later. Leave one of the two requests out: FAST=y or SLOW=y.',
    });
  });

  test('what selects is followed to what a person can switch off, or to what nobody can', () => {
    const text = kconfig`
      config ARCH
        def_bool y
        select HAVE_PUMP
        select HAVE_FLOAT if FLOAT
      config HAVE_PUMP
        bool
      config HAVE_FLOAT
        bool
      config FLOAT
        bool "Float"
      config RD_GZIP
        bool "Gzip"
        select DECOMPRESS
      config DECOMPRESS
        bool
        select INFLATE
      config READER
        bool "Reader"
        select INFLATE
      config INFLATE
        tristate
    `;
    const judge = (...requests: readonly string[]): string | undefined =>
      judgeSmall(text, asked(...requests)).at(-1)?.message;
    expect(judge('HAVE_PUMP=n')).toBe(
      'ARCH, which is on (Kconfig:3) selects it: it cannot be lower than that. ARCH has no prompt, so that nobody can set it by hand; the architecture or the tree decides. It cannot be so here: leave HAVE_PUMP out.',
    );
    expect(judge('FLOAT=y', 'HAVE_FLOAT=n')).toBe(
      'ARCH, which is on (Kconfig:4) selects it: it cannot be lower than that. otter.config:1 asks for FLOAT=`y`: change that to FLOAT=n. Or ask for HAVE_FLOAT=y.',
    );
    expect(judge('RD_GZIP=y', 'INFLATE=n')).toBe(
      'DECOMPRESS, which is on (Kconfig:16) selects it: it cannot be lower than that. RD_GZIP, which is on, as otter.config:1 asks (Kconfig:13) keeps DECOMPRESS on: that must be off first. Or ask for INFLATE=y.',
    );
    expect(judge('READER=y', 'RD_GZIP=y', 'INFLATE=n')).toMatch(
      /select it: it cannot be lower than that\. Switch READER off\. RD_GZIP, .* keeps DECOMPRESS on: that must be off first\. Or ask for INFLATE=y\.$/u,
    );
  });

  test('the only member of a choice that can be on must be', () => {
    const text = kconfig`
      config PUMP
        bool "Pump"
      choice
        prompt "Speed"
      config SLOW
        bool "Slow"
      config RAPID
        bool "Rapid"
        depends on PUMP
      endchoice
    `;
    const [verdict] = judgeSmall(text, asked('SLOW=n'));
    expect(verdict).toMatchObject({
      verdict: 'raised',
      reason: { kind: 'choice-must-win', others: [{ option: 'RAPID', terms: [{ term: 'PUMP' }] }] },
      message:
        'One of the choice `Speed` (Kconfig:3) is always on, and no other one can be. RAPID needs PUMP, which is off (Kconfig:9). Ask for PUMP=y too.',
    });
    const alone = kconfig`
      choice
        prompt "Speed"
      config SLOW
        bool "Slow"
      endchoice
    `;
    expect(judgeSmall(alone, asked('SLOW=n'))[0]?.message).toBe(
      'One of the choice `Speed` (Kconfig:1) is always on, and there is no other one.',
    );
  });

  test('of several defaults the one that holds is told', () => {
    const text = kconfig`
      config OLD
        bool "Old"
      config POINTER
        hex
        default 0 if OLD
        default 0xdead
    `;
    expect(judgeSmall(text, asked('POINTER=0'))[0]?.message).toBe(
      'It has no prompt, so that nobody can set it by hand; other options decide. Its default is `0xdead` (Kconfig:6). Leave the request out.',
    );
    expect(judgeSmall(text, asked('OLD=y', 'POINTER=5'))[1]?.message).toContain('Its default is `0 if OLD`');
  });

  test('conditions that exclude each other are said to', () => {
    const text = 'config A\n\tbool "A"\nconfig B\n\tbool "B"\n\tdepends on A && !A\n';
    const [verdict] = judgeSmall(text, asked('B=y'));
    expect(verdict?.reason).toMatchObject({ kind: 'dependency', contradictory: true });
    expect(verdict?.message).toBe(
      'Its conditions exclude each other or can never hold together: A (Kconfig:5). Leave the request out.',
    );
  });

  test('a transitional option tells who takes its value over', () => {
    const text = 'config CFI_OLD\n\tbool\n\ttransitional\nconfig CFI\n\tbool "CFI"\n\tdefault CFI_OLD\n';
    const [verdict] = judgeSmall(text, asked('CFI_OLD=y'), { dialect: '7.3' });
    expect(verdict).toMatchObject({ verdict: 'dropped', reason: { kind: 'transitional', heirs: ['CFI'] } });
    expect(verdict?.message).toContain('Its value goes to CFI: ask for that instead.');
  });

  test('a module that lacks something besides modules is told both', () => {
    expect(message(station, ['MODULES=n', 'GAUGE=m'])).toBe(
      'It needs RIVER, which is off (Kconfig:11) and MODULES, which is off (Kconfig:1). otter.config:1 asks for MODULES=`n`: change that to MODULES=y. Ask for RIVER=y too.',
    );
    expect(message(station, ['MODULES=n', 'GAUGE=y'])).toBe(
      'It needs RIVER, which is off (Kconfig:11). Ask for RIVER=y too.',
    );
  });

  test('a number out of range that cannot be set at all: what it lacks', () => {
    const text = kconfig`
      config SMP
        bool "Several processors"
      config CPUS
        int "Processors" if SMP
        range 1 1 if !SMP
        range 2 64
        default 1
    `;
    expect(judgeSmall(text, asked('CPUS=8'))[0]).toMatchObject({
      verdict: 'invalid',
      reason: { kind: 'out-of-range', terms: [{ option: 'SMP' }] },
      message:
        'It must be from 1 to 1 (Kconfig:5); the kernel makes 1 of it. It cannot be set as things are. It needs SMP, which is off (Kconfig:4). Ask for SMP=y too.',
    });
    expect(judgeSmall(text, asked('SMP=y', 'CPUS=8'))[1]?.verdict).toBe('kept');
  });

  test('a tree without a symbol for modules builds everything in', () => {
    expect(judgeSmall('config A\n\ttristate "A"\n', asked('A=m'))[0]).toMatchObject({
      verdict: 'raised',
      reason: { kind: 'modules-off', option: null },
      message: 'This tree has no modules, so that it is built in. Ask for `y` or `n`.',
    });
  });

  test('a configuration that was made without the request', () => {
    const model = smallModel(station);
    const { evaluation } = configure(model, 'olddefconfig', '');
    expect(judgeRequests({ evaluation, requests: asked('RIVER=y') })[0]).toMatchObject({
      verdict: 'dropped',
      reason: { kind: 'not-taken' },
      message: 'It can be set so, and the configuration was made without this request. Make it again.',
    });
  });

  test('an empty tree, and names that are none', () => {
    for (const option of [
      '',
      'y',
      '__proto__',
      'CONFIG_',
      'A B',
      '\u001b[2J',
      '\u202e',
      'X'.repeat(10_000),
    ]) {
      for (const value of ['y', '', '"', '\u0000']) {
        const requests = [{ option, value, origin: { file: 'x' } }];
        const { evaluation } = configure(smallModel(''), 'olddefconfig', '');
        const [verdict] = judgeRequests({ evaluation, requests });
        expect(verdict?.verdict).toBe('unknown');
        expect(verdict?.message).not.toMatch(/[\u0000-\u001f\u202e]/u);
        expect(verdict?.message).toMatch(/[.?]$/u);
      }
    }
  });
});
