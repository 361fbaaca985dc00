import { describe, expect, test } from 'vitest';

import { optionHistory } from '../../src/kconfig/option-history.ts';
import { lookedAt, renames } from '../../src/kconfig/option-history-data.ts';
import { explainUnknown } from '../../src/kconfig/unknown-option.ts';
import { asked, judgeSmall, kconfig, smallModel } from './judge-small.ts';

describe('what is known of options over the releases', () => {
  test.each<[string, readonly string[] | undefined]>([
    ['EMBEDDED', ['5.10', '6.1']],
    ['DEVKMEM', ['5.10']],
    ['CIO2_BRIDGE', ['6.1']],
    ['NETFILTER_XTABLES_LEGACY', ['7.3']],
    ['USB', undefined],
    ['OTTER_BANK', undefined],
    ['', undefined],
  ])('%s: %j', (option, releases) => {
    expect(optionHistory(option)?.releases).toEqual(releases);
  });

  test('renames are found from both sides, and each speaks of options that some release lacks', () => {
    expect(optionHistory('RETPOLINE')?.renames).toEqual([
      { option: 'MITIGATION_RETPOLINE', evidence: 'same-prompt' },
    ]);
    expect(optionHistory('MITIGATION_RETPOLINE')?.renames).toEqual([
      { option: 'RETPOLINE', evidence: 'same-prompt' },
    ]);
    for (const [old = '', name = '', evidence] of renames.map((line) => line.split(' '))) {
      expect(evidence).toMatch(/^(?:same-prompt|transitional)$/u);
      const [before, after] = [optionHistory(old), optionHistory(name)];
      expect(before ?? after, `${old} ${name}`).toBeDefined();
      expect(before?.lookedAt ?? lookedAt).toBe(lookedAt);
    }
  });
});

test('an option that takes over the value of one with another name', () => {
  const [verdict] = judgeSmall('config CFI_CLANG\n\tbool "x"\n', asked('CFI=y'));
  expect(verdict?.message).toMatch(
    /It goes by the name CFI_CLANG elsewhere, which takes its value over: ask for that\.$/u,
  );
});

describe('why a tree has no such option', () => {
  const model = smallModel(kconfig`
    config MITIGATION_RETPOLINE
      bool "x"
    config USB_STORAGE
      bool "x"
    config USB_STORAGE_DEBUG
      bool "x"
    config GAUGE_A
      bool "x"
    config GAUGE_B
      bool "x"
    config GAUGE_C
      bool "x"
    config GAUGE_D
      bool "x"
      depends on MENTIONED
  `);

  test.each<[string, object]>([
    ['RETPOLINE', { kind: 'other-version', renamed: { option: 'MITIGATION_RETPOLINE' }, renamedHere: true }],
    ['CPU_SRSO', { kind: 'other-version', renamed: { option: 'MITIGATION_SRSO' }, renamedHere: false }],
    ['USB_STORGAE', { kind: 'misspelt', nearest: ['USB_STORAGE'] }],
    ['usb-storage', { kind: 'misspelt', nearest: ['USB_STORAGE'] }],
    ['USB_STOR', { kind: 'no-such-option' }],
    ['GAUGE_X', { kind: 'misspelt', nearest: ['GAUGE_A', 'GAUGE_B', 'GAUGE_C'] }],
    ['GAUGE', { kind: 'misspelt', nearest: ['GAUGE_A', 'GAUGE_B', 'GAUGE_C'] }],
    ['USB_STORAGE_OTTERBANK', { kind: 'misspelt', nearest: ['USB_STORAGE'] }],
    ['MENTIONED', { kind: 'no-such-option' }],
    ['X', { kind: 'no-such-option' }],
    ['USB_'.repeat(1000), { kind: 'no-such-option' }],
    ['CONFIG_CONFIG_USB_STORAGE', { kind: 'doubled-prefix', instead: 'USB_STORAGE', exists: true }],
    ['CONFIG_', { kind: 'no-such-option' }],
  ])('%s: %j', (option, reason) => {
    expect(explainUnknown(model, option, undefined)).toMatchObject(reason);
  });
});
