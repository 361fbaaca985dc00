import { describe, expect, test } from 'vitest';

import { detectDialect, dialectFiles, dialects } from '../../src/kconfig/dialect.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';
import { filesBelow } from '../oracle/our-kconfig.ts';

describe('the rules that a tree goes by', () => {
  test('a tree without the program gets the newest', () => {
    expect(detectDialect({ read: () => undefined })).toEqual({ dialect: dialects['7.3'], found: false });
    expect(dialectFiles).toContain('scripts/kconfig/parser.y');
  });

  test('what is between two releases is taken feature by feature', () => {
    const parser =
      'choice_option: T_BOOL T_WORD_QUOTE if_expr T_EOL\ndepends: T_DEPENDS T_ON expr if_expr T_EOL';
    const texts: Readonly<Record<string, string>> = {
      'scripts/kconfig/parser.y': parser,
      'scripts/kconfig/symbol.c': '"0x0"',
      'scripts/kconfig/confdata.c': 'end_check',
    };
    const { dialect } = detectDialect({ read: (path) => texts[path] });
    expect(dialect).toMatchObject({
      name: '6.12',
      conditionalDepends: true,
      choiceTypePrompt: true,
      transitional: false,
    });
  });
});

test(
  'the trees of Linux 6.1 and 6.12 go by the rules that are written down for them',
  { timeout: 900_000 },
  async (context) => {
    for (const series of ['6.1', '6.12'] as const) {
      const tree = await orSkip(context, kernelTree(series));
      expect(detectDialect(filesBelow(tree.folder))).toEqual({ dialect: dialects[series], found: true });
    }
  },
);
