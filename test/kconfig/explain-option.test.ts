import { describe, expect, test } from 'vitest';

import { explainOption, explainValue } from '../../src/kconfig/explain-option.ts';
import { explanationText } from '../../src/kconfig/explanation-text.ts';
import { asked, kconfig, smallInput, type Small } from './judge-small.ts';

const station = kconfig`
  config MODULES
    bool "Modules"
    modules
    default y

  config RIVER
    bool "River"

  menu "Station"
    depends on RIVER

  config GAUGE
    tristate "Gauge" if !DRY || RIVER
    default m if RIVER

  config DRY
    bool "Dry"

  endmenu

  config PUMP
    tristate "Pump"
    select VALVE
    select VALVE if RIVER
    imply FLOAT

  config VALVE
    tristate

  config FLOAT
    tristate "Float"

  config DEPTH
    int "Depth"
    range 1 9
    default 5

  config LABEL
    string
    default "bank"

  choice
    prompt "Speed"

  config SLOW
    bool "Slow"

  config FAST
    bool "Fast"

  endchoice
`;

function why(option: string, requests: readonly string[] = [], small: Small = {}): string {
  return explanationText(explainOption(smallInput(station, asked(...requests), small), option));
}

function outline(text: string): readonly string[] {
  return text.trimEnd().split('\n');
}

describe('why an option has its value', () => {
  test('a request that was not kept: the verdict first, then the chain', () => {
    expect(outline(why('GAUGE', ['GAUGE=y']))).toEqual([
      'dropped GAUGE y → n',
      '  It needs RIVER, which is off (Kconfig:10). Ask for RIVER=y too.',
      '    needs RIVER, which is off (Kconfig:10)',
      '      can be set',
      '  type: tristate (Kconfig:12)',
      '  prompt: `Gauge` (Kconfig:13), not shown',
      '    menu: River > Station',
      '    y  !DRY || RIVER',
      '      y  !DRY',
      '      n  RIVER',
      '  value: n, since nothing gives it another',
      '  depends on:',
      '    n  RIVER (Kconfig:10)',
      '  default:',
      '    m if RIVER (Kconfig:14), which does not hold',
      '  what would have to change:',
      '    for m: It needs RIVER, which is off (Kconfig:10). Ask for RIVER=y too.',
      '      needs RIVER, which is off (Kconfig:10)',
      '        can be set',
    ]);
  });

  test.each<[string, string[], string]>([
    ['GAUGE', ['RIVER=y'], '  value: m, by default: m if RIVER (Kconfig:14)'],
    ['GAUGE', ['RIVER=y', 'GAUGE=y'], '  value: y, asked for as `y` in otter.config:2'],
    ['VALVE', ['PUMP=m'], '  value: m, selected by PUMP=m (Kconfig:23)'],
    ['FLOAT', ['PUMP=m'], '  value: m, implied by PUMP=m (Kconfig:25)'],
    ['FLOAT', [], '  value: n, since nothing gives it another'],
    ['DEPTH', [], '  value: 5, by default: 5 (Kconfig:36)'],
    ['LABEL', [], '  value: `"bank"`, by default: "bank" (Kconfig:40)'],
    ['FAST', ['FAST=y'], '  value: y, since of its choice FAST is on, asked for in otter.config:1'],
    ['SLOW', [], '  value: y, since of its choice SLOW is on'],
    // Asked to be off, and the only one that is left.
    ['FAST', ['FAST=n', 'SLOW=n'], '  value: y, since of its choice FAST is on'],
    ['SLOW', [], '  choice: `Speed` (Kconfig:42), where SLOW is on, of SLOW, FAST'],
    ['DEPTH', [], '  range: 1 to 9 (Kconfig:35)'],
    ['VALVE', [], '  prompt: none, so that nobody can set it by hand'],
    [
      'VALVE',
      ['PUMP=y'],
      '    y  PUMP (Kconfig:24), whose condition does not hold, asked for in otter.config:1',
    ],
    ['PUMP', [], '    for m: It can be so: ask for PUMP=m.'],
    ['DEPTH', [], '    for another value: It can be given another value: ask for it.'],
    ['FAST', [], '    for y: It takes the place of SLOW in its choice: ask for FAST=y last.'],
    [
      'LABEL',
      [],
      '    for another value: It has no prompt, so that nobody can set it by hand; other options decide. Its default is `"bank"` (Kconfig:40). Leave the request out.',
    ],
    ['RIVERS', [], '  This tree has no such option. Did you mean RIVER?'],
  ])('%s with %j: %s', (option, requests, line) => {
    expect(outline(why(option, requests))).toContain(line.replace('`"bank"`, by', '"bank", by'));
  });

  test('the menu is the one that the kernel makes of the entries', () => {
    const text = kconfig`
      menu "Drivers"
      menuconfig USB_SUPPORT
        bool "USB support"
      if USB_SUPPORT
      config USB
        tristate "Host side"
      config STORAGE
        bool "Mass storage"
        depends on USB
      config STORAGE_DEBUG
        bool "Debugging" if STORAGE
      config LEDS
        bool "LEDs"
      endif
      config HIDDEN
        def_bool y
      config FOLLOWER
        bool "Follower"
        depends on HIDDEN
      choice
        prompt "Speed"
        depends on LEDS
      config SLOW
        bool "Slow"
      config FAST
        bool "Fast"
      endchoice
      endmenu
      config MODULES
        bool "Modules"
        modules
        default y
    `;
    const input = smallInput(text, asked('USB_SUPPORT=y', 'USB=m'));
    const menuOf = (option: string): string | undefined =>
      explainOption(input, option).prompts[0]?.menu.join(' > ');
    expect(
      ['USB_SUPPORT', 'USB', 'STORAGE', 'STORAGE_DEBUG', 'LEDS', 'FOLLOWER', 'FAST', 'MODULES'].map(menuOf),
    ).toEqual([
      'Drivers',
      'Drivers > USB support',
      'Drivers > USB support > Host side',
      'Drivers > USB support > Host side > Mass storage',
      'Drivers > USB support',
      'Drivers',
      'Drivers > Speed',
      '',
    ]);
    // Of a module at most is said where there can be one.
    expect(explainOption(input, 'STORAGE').prompts[0]?.shown).toBe('y');
  });

  test('a line of the base is told with its place', () => {
    expect(why('RIVER', [], { base: '# a base\nCONFIG_RIVER=y\n' })).toContain(
      'value: y, from the base (base.config:2)',
    );
  });

  test('one more request: what would become of it', () => {
    const input = smallInput(station, asked('RIVER=n'));
    const base = { file: 'base.config', text: '' };
    const explained = explainValue(input, base, 'GAUGE', 'y', { file: 'command line' });
    expect(explained.verdict).toMatchObject({ verdict: 'dropped', reason: { kind: 'dependency' } });
    expect(explanationText(explained)).toContain('asked for as `n` in otter.config:1');
    expect(explainValue(input, base, 'RIVER', 'y', { file: 'command line' }).verdict?.verdict).toBe('kept');
    expect(explanationText(explainValue(input, base, 'RIVERS', 'y', { file: 'command line' }))).toBe(
      'unknown RIVERS y → n\n  This tree has no such option. Did you mean RIVER?\n',
    );
  });

  test('selects are listed up to a number', () => {
    const many = Array.from({ length: 20 }, (_, nth) => `config S${nth}\n\tbool "S"\n\tselect VALVE\n`).join(
      '',
    );
    const text = explanationText(explainOption(smallInput(`${many}config VALVE\n\tbool\n`, []), 'VALVE'));
    expect(text).toContain('    and 8 more\n');
  });

  test('the chain goes down to selects, choices, probes and what no architecture has', () => {
    const text = kconfig`
      config HOLDS
        bool "Holds"
        select HELD
      config HELD
        bool "Held"
      config AUTO
        bool
        default y if HELD
      choice
        prompt "Rate"
      config R1
        bool "1"
      config R2
        bool "2"
      endchoice
      config CC_OK
        def_bool $(shell,cc)
      config VERSION
        int
        default "$(VERSION)"
      config ALL
        bool "All"
        depends on !HELD
        depends on !AUTO
        depends on R2
        depends on CC_OK
        depends on VERSION > 3
        depends on NOWHERE
        depends on n
    `;
    const small = { probes: () => 'n', environment: { VERSION: '1' } };
    const shown = outline(
      explanationText(explainOption(smallInput(text, asked('HOLDS=y', 'ALL=y'), small), 'ALL')),
    );
    for (const line of [
      '      selected by HOLDS=y (Kconfig:3)',
      '      has no prompt',
      '      of its choice R1 is on, of R1, R2',
      '      the environment answers `n` to `$(shell,cc)`',
      '      the environment gives VERSION as `1`',
      '      this architecture does not have it',
    ]) {
      expect(shown).toContain(line);
    }
  });

  test('a conditional dependency is shown as it is written', () => {
    const text = 'config A\n\tbool "A"\n\tdepends on B if C\nconfig B\n\tbool "B"\nconfig C\n\tbool "C"\n';
    expect(explanationText(explainOption(smallInput(text, [], { dialect: '7.3' }), 'A'))).toContain(
      'y  B if C (Kconfig:3)',
    );
  });
});
