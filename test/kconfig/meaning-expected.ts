/**
 * What `meaningCases` come to, without the four lines that head each `.config`. Made by the scripts/kconfig/conf of Linux
 * 5.10.262, 6.1.192, 6.12.117 and 7.3.4; meaning.slow.test.ts asks them again.
 */
export const meaningExpected: Readonly<Record<string, Readonly<Record<string, readonly string[]>>>> = {
  'values of all types, as they are asked for': {
    '5.10 6.1 6.12 7.3': [
      'CONFIG_MODULES=y',
      'CONFIG_A=y',
      'CONFIG_B=m',
      'CONFIG_C=-17',
      'CONFIG_D=20',
      'CONFIG_E="gauge \\"7\\" C:\\\\dir q"',
    ],
  },
  'bad values': {
    '5.10 6.1 6.12 7.3': [
      'CONFIG_MODULES=y',
      'CONFIG_A=y',
      'CONFIG_B=m',
      'CONFIG_C=5',
      'CONFIG_D=0x5',
      'CONFIG_E="x"',
    ],
  },
  'only the first character of a state counts; text behind a closing quote does not': {
    '5.10 6.1 6.12 7.3': ['CONFIG_A=y', '# CONFIG_B is not set', 'CONFIG_E="a"'],
  },
  'the last line of an option counts, unless it is invalid': {
    '5.10 6.1 6.12 7.3': ['CONFIG_A=2', 'CONFIG_B=1'],
  },
  'what follows "is not set"': {
    '5.10 6.1': ['# CONFIG_A is not set', 'CONFIG_B=y', '# CONFIG_C is not set'],
    '6.12 7.3': ['CONFIG_A=y', 'CONFIG_B=y', '# CONFIG_C is not set'],
  },
  'modules off: m is y for what is asked, n in a condition': {
    '5.10 6.1 6.12 7.3': ['# CONFIG_MODULES is not set', 'CONFIG_A=y', 'CONFIG_C=y'],
  },
  'modules on: m limits what depends on it': {
    '5.10 6.1 6.12 7.3': [
      'CONFIG_MODULES=y',
      'CONFIG_A=m',
      'CONFIG_B=m',
      'CONFIG_C=y',
      'CONFIG_D=m',
      'CONFIG_E=m',
    ],
  },
  'a tree without modules': {
    '5.10 6.1 6.12 7.3': ['CONFIG_A=y'],
  },
  'select overrides dependencies, has a lower limit, and m of a bool is y': {
    '5.10 6.1 6.12 7.3': [
      'CONFIG_MODULES=y',
      'CONFIG_A=m',
      'CONFIG_B=m',
      'CONFIG_C=y',
      '# CONFIG_D is not set',
      '# CONFIG_E is not set',
    ],
  },
  'imply gives way to a value and to dependencies': {
    '5.10 6.1 6.12 7.3': [
      'CONFIG_MODULES=y',
      'CONFIG_A=y',
      '# CONFIG_B is not set',
      'CONFIG_C=y',
      '# CONFIG_D is not set',
      '# CONFIG_E is not set',
      'CONFIG_F=y',
    ],
  },
  'a definition without dependencies does not lift those of another': {
    '5.10 6.1 6.12 7.3': ['CONFIG_A=y', '# CONFIG_B is not set', '# CONFIG_E is not set'],
  },
  'defaults: the first whose condition holds, limited by it': {
    '5.10 6.1 6.12 7.3': [
      'CONFIG_MODULES=y',
      'CONFIG_A=m',
      'CONFIG_C=2',
      'CONFIG_D="2"',
      'CONFIG_E="n"',
      'CONFIG_F=7',
    ],
  },
  'what is not visible keeps no value; what has no prompt is written only when it is on': {
    '5.10 6.1 6.12 7.3': ['# CONFIG_A is not set', 'CONFIG_B=y', 'CONFIG_E=4'],
  },
  'an int or hex that nobody gives a value': {
    '5.10 6.1': ['CONFIG_A=', 'CONFIG_B=', 'CONFIG_C=""', '# CONFIG_D is not set'],
    '6.12 7.3': ['CONFIG_A=0', 'CONFIG_B=0x0', 'CONFIG_C=""', 'CONFIG_D=y'],
  },
  'ranges: values below, inside and above, and what rests on them': {
    '5.10 6.1': [
      'CONFIG_A=50',
      'CONFIG_B=100',
      '# CONFIG_C is not set',
      'CONFIG_D=20',
      'CONFIG_E=50',
      'CONFIG_F=4',
    ],
    '6.12 7.3': [
      'CONFIG_A=100',
      'CONFIG_B=100',
      '# CONFIG_C is not set',
      'CONFIG_D=0x10',
      'CONFIG_E=100',
      'CONFIG_F=4',
    ],
  },
  'a default out of range is moved to the bound, with its spelling': {
    '5.10 6.1 6.12 7.3': ['CONFIG_A=0x0010', 'CONFIG_B=-5', 'CONFIG_C=y'],
  },
  'comparisons of numbers, strings, states and names of nothing': {
    '5.10 6.1 6.12 7.3': [
      'CONFIG_V=120200',
      'CONFIG_H=0x10',
      'CONFIG_S="10"',
      'CONFIG_A=y',
      'CONFIG_B=y',
      'CONFIG_D=y',
      'CONFIG_E=y',
      'CONFIG_F=y',
      'CONFIG_G=y',
      'CONFIG_I=y',
      'CONFIG_J=y',
      'CONFIG_K=y',
    ],
  },
  'and, or, not and parentheses': {
    '5.10 6.1 6.12 7.3': ['CONFIG_A=y', '# CONFIG_B is not set', 'CONFIG_C=y', 'CONFIG_D=y', 'CONFIG_E=y'],
  },
  'choice: the default': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_MODULES is not set',
      '# CONFIG_BLUE is not set',
      'CONFIG_RED=y',
      '# CONFIG_GREEN is not set',
      '# CONFIG_DARK is not set',
      'CONFIG_FROM_RED=y',
    ],
  },
  'choice: the one that is asked for': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_MODULES is not set',
      '# CONFIG_BLUE is not set',
      '# CONFIG_RED is not set',
      'CONFIG_GREEN=y',
      '# CONFIG_DARK is not set',
    ],
  },
  'choice: the last of two': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_MODULES is not set',
      'CONFIG_BLUE=y',
      '# CONFIG_RED is not set',
      '# CONFIG_GREEN is not set',
      '# CONFIG_DARK is not set',
    ],
  },
  'choice: one that cannot be': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_MODULES is not set',
      'CONFIG_BLUE=y',
      '# CONFIG_RED is not set',
      'CONFIG_DARK=y',
    ],
  },
  'choice: the default is refused': {
    '5.10 6.1': [
      '# CONFIG_MODULES is not set',
      '# CONFIG_BLUE is not set',
      'CONFIG_RED=y',
      '# CONFIG_GREEN is not set',
      '# CONFIG_DARK is not set',
      'CONFIG_FROM_RED=y',
    ],
    '6.12 7.3': [
      '# CONFIG_MODULES is not set',
      'CONFIG_BLUE=y',
      '# CONFIG_RED is not set',
      '# CONFIG_GREEN is not set',
      '# CONFIG_DARK is not set',
    ],
  },
  'choice: all are refused': {
    '5.10 6.1': [
      '# CONFIG_MODULES is not set',
      '# CONFIG_BLUE is not set',
      'CONFIG_RED=y',
      '# CONFIG_GREEN is not set',
      '# CONFIG_DARK is not set',
      'CONFIG_FROM_RED=y',
    ],
    '6.12 7.3': [
      '# CONFIG_MODULES is not set',
      '# CONFIG_BLUE is not set',
      '# CONFIG_RED is not set',
      'CONFIG_GREEN=y',
      '# CONFIG_DARK is not set',
    ],
  },
  'choice: asked for, then refused': {
    '5.10 6.1': [
      '# CONFIG_MODULES is not set',
      '# CONFIG_BLUE is not set',
      '# CONFIG_RED is not set',
      'CONFIG_GREEN=y',
      '# CONFIG_DARK is not set',
    ],
    '6.12 7.3': [
      '# CONFIG_MODULES is not set',
      '# CONFIG_BLUE is not set',
      'CONFIG_RED=y',
      '# CONFIG_GREEN is not set',
      '# CONFIG_DARK is not set',
      'CONFIG_FROM_RED=y',
    ],
  },
  'choice: its prompt cannot be seen': {
    '5.10 6.1': ['# CONFIG_ON is not set'],
    '6.12 7.3': ['# CONFIG_ON is not set', '# CONFIG_A is not set', 'CONFIG_B=y'],
  },
  'choice: its dependency does not hold': {
    '5.10 6.1 6.12 7.3': ['# CONFIG_ON is not set'],
  },
  'choice: members in an if block, and ones that depend on others outside': {
    '5.10 6.1 6.12 7.3': ['CONFIG_ON=y', 'CONFIG_A=y', '# CONFIG_C is not set'],
  },
  'choice: allyesconfig': {
    '5.10 6.1 6.12 7.3': ['CONFIG_MODULES=y', 'CONFIG_BLUE=y', '# CONFIG_RED is not set', 'CONFIG_DARK=y'],
  },
  'choice: allyesconfig with a preset': {
    '5.10 6.1 6.12 7.3': [
      'CONFIG_MODULES=y',
      '# CONFIG_BLUE is not set',
      '# CONFIG_RED is not set',
      'CONFIG_GREEN=y',
      '# CONFIG_DARK is not set',
    ],
  },
  'choice: allnoconfig': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_MODULES is not set',
      '# CONFIG_BLUE is not set',
      'CONFIG_RED=y',
      '# CONFIG_GREEN is not set',
      '# CONFIG_DARK is not set',
      'CONFIG_FROM_RED=y',
    ],
  },
  'choice: defconfig': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_MODULES is not set',
      'CONFIG_BLUE=y',
      '# CONFIG_RED is not set',
      '# CONFIG_GREEN is not set',
      '# CONFIG_DARK is not set',
    ],
  },
  'menus, comments and their ends in the text': {
    '5.10': [
      '',
      '#',
      '# first',
      '#',
      '# CONFIG_A is not set',
      '',
      '#',
      '# a remark',
      '#',
      '# end of first',
      '',
      '#',
      '# empty',
      '#',
      'CONFIG_C=y',
      '# CONFIG_D is not set',
      '',
      '#',
      '# in an if',
      '#',
      '# CONFIG_E is not set',
      '# end of in an if',
      '',
      '# CONFIG_F is not set',
    ],
    '6.1 6.12 7.3': [
      '',
      '#',
      '# first',
      '#',
      '# CONFIG_A is not set',
      '',
      '#',
      '# a remark',
      '#',
      '# end of first',
      '',
      '#',
      '# empty',
      '#',
      '# end of empty',
      '',
      'CONFIG_C=y',
      '# CONFIG_D is not set',
      '',
      '#',
      '# in an if',
      '#',
      '# CONFIG_E is not set',
      '# end of in an if',
      '',
      '# CONFIG_F is not set',
    ],
  },
  'visible if hides prompts, but no remarks and inner menus': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_S is not set',
      'CONFIG_A=y',
      '',
      '#',
      '# inner',
      '#',
      '# end of inner',
      '',
      '#',
      '# still here',
      '#',
      'CONFIG_C=y',
    ],
  },
  'a symbol with several definitions': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_X is not set',
      'CONFIG_A=4',
      '',
      '#',
      '# m',
      '#',
      '# CONFIG_B is not set',
      '# end of m',
    ],
  },
  'defaults alone': {
    '5.10 6.1 6.12 7.3': ['# CONFIG_MODULES is not set', 'CONFIG_A=y', '# CONFIG_B is not set'],
  },
  'all yes': {
    '5.10 6.1 6.12 7.3': ['CONFIG_MODULES=y', 'CONFIG_A=y', 'CONFIG_C=2'],
  },
  'all modules': {
    '5.10 6.1 6.12 7.3': ['CONFIG_MODULES=y', 'CONFIG_A=m', 'CONFIG_B=y', 'CONFIG_C=y'],
  },
  'all no, with a preset': {
    '5.10 6.1 6.12 7.3': ['# CONFIG_MODULES is not set', 'CONFIG_A=y', '# CONFIG_B is not set', 'CONFIG_E=y'],
  },
  'a range bound by what itself goes back to its default': {
    '5.10 6.1': ['CONFIG_LOW=5', 'CONFIG_A=50', 'CONFIG_B=10'],
    '6.12 7.3': ['CONFIG_LOW=10', 'CONFIG_A=10', 'CONFIG_B=10'],
  },
  'a value out of range in a defconfig': {
    '5.10 6.1': ['CONFIG_A=50', 'CONFIG_B=50'],
    '6.12 7.3': ['CONFIG_A=100', 'CONFIG_B=100'],
  },
  'choice: a default that is no member': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_BEFORE is not set',
      'CONFIG_A=y',
      '# CONFIG_B is not set',
      '# CONFIG_AFTER is not set',
      'CONFIG_FROM_A=y',
    ],
  },
  'choice: a default that is no member, from nothing': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_BEFORE is not set',
      '# CONFIG_A is not set',
      '# CONFIG_B is not set',
      '# CONFIG_AFTER is not set',
    ],
  },
  'choice: a default that is no member, defconfig': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_BEFORE is not set',
      '# CONFIG_A is not set',
      '# CONFIG_B is not set',
      '# CONFIG_AFTER is not set',
    ],
  },
  'choice: a default that is no member, all yes': {
    '5.10 6.1 6.12 7.3': [
      'CONFIG_BEFORE=y',
      '# CONFIG_A is not set',
      '# CONFIG_B is not set',
      'CONFIG_AFTER=y',
    ],
  },
  'choice: a default that is no member, all no': {
    '5.10 6.1': [
      '# CONFIG_BEFORE is not set',
      '# CONFIG_A is not set',
      '# CONFIG_B is not set',
      '# CONFIG_AFTER is not set',
    ],
    '6.12 7.3': [
      '# CONFIG_BEFORE is not set',
      'CONFIG_A=y',
      '# CONFIG_B is not set',
      '# CONFIG_AFTER is not set',
      'CONFIG_FROM_A=y',
    ],
  },
  'choice: a default that is no member, and one is asked for': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_BEFORE is not set',
      '# CONFIG_A is not set',
      'CONFIG_B=y',
      'CONFIG_AFTER=y',
    ],
  },
  'choice: a default that is no member, and all has a value': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_BEFORE is not set',
      'CONFIG_A=y',
      '# CONFIG_B is not set',
      '# CONFIG_AFTER is not set',
      'CONFIG_FROM_A=y',
    ],
  },
  'choice: a default that is no member, and the choice rests on it': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_BEFORE is not set',
      '# CONFIG_A is not set',
      '# CONFIG_B is not set',
      'CONFIG_AFTER=y',
    ],
  },
  'choice: a default that is no member, and a member shows another choice': {
    '6.12 7.3': ['# CONFIG_S is not set', 'CONFIG_M=y'],
  },
  'choice: a default that nothing defines, and one that is a constant': {
    '5.10 6.1 6.12 7.3': [
      '# CONFIG_BEFORE is not set',
      'CONFIG_A=y',
      '# CONFIG_B is not set',
      '# CONFIG_AFTER is not set',
      'CONFIG_FROM_A=y',
    ],
  },
  'visible if m shows the menu, whether there are modules or not': {
    '5.10 6.1 6.12 7.3': [
      '',
      '#',
      '# one',
      '#',
      '# end of one',
      '',
      '#',
      '# two',
      '#',
      '# CONFIG_B is not set',
      '# end of two',
    ],
  },
  'ranges that rest on each other': {
    '5.10 6.1 6.12 7.3': ['CONFIG_S=50', 'CONFIG_L=50', 'CONFIG_Q=50'],
  },
  'modules rest on what is worked out before them': {
    '5.10 6.1 6.12 7.3': ['CONFIG_T=y', 'CONFIG_MODULES=y', 'CONFIG_U=m'],
  },
  'modules rest on what is worked out again when nothing changes': {
    '5.10 6.1 6.12 7.3': ['CONFIG_T=m', 'CONFIG_MODULES=y', 'CONFIG_U=m'],
  },
  'modules rest on what is not worked out again when a line is not understood': {
    '5.10 6.1 6.12 7.3': ['CONFIG_T=y', 'CONFIG_MODULES=y', 'CONFIG_U=m'],
  },
  'choice with a name, set to y': {
    '5.10 6.1': ['CONFIG_MODULES=y', 'CONFIG_A=y', '# CONFIG_B is not set', '# CONFIG_C is not set'],
  },
  'choice with a name, set to m': {
    '5.10 6.1': ['CONFIG_MODULES=y', '# CONFIG_A is not set', 'CONFIG_B=y', '# CONFIG_C is not set'],
  },
  'choice with a name, set to m, for members that are m': {
    '5.10 6.1': ['CONFIG_MODULES=y', 'CONFIG_A=m', '# CONFIG_B is not set'],
  },
  'choice with a name, set to n, and then a member': {
    '5.10 6.1': ['CONFIG_MODULES=y', '# CONFIG_A is not set', 'CONFIG_B=y', '# CONFIG_C is not set'],
  },
  'choice with a name, set to n, after a member': {
    '5.10 6.1': ['CONFIG_MODULES=y'],
  },
  'choice with a name, set to nothing that it can be': {
    '5.10 6.1': ['CONFIG_MODULES=y'],
  },
  'chains of the same kind in parentheses, and the comparisons that are left': {
    '5.10 6.1 6.12 7.3': ['CONFIG_A=y', 'CONFIG_N=7', 'CONFIG_B=y', 'CONFIG_C=y', 'CONFIG_D=y'],
  },
  'a choice and the bound of a range that rest on each other': {
    '5.10 6.1 6.12 7.3': ['CONFIG_I=3', '# CONFIG_A is not set', 'CONFIG_B=y'],
  },
  'choice: of one that is y, what can only be m is hidden, CONFIG_B=y': {
    '5.10 6.1': ['CONFIG_MODULES=y', 'CONFIG_B=y', '# CONFIG_C is not set', 'CONFIG_T=m'],
  },
  'choice: of one that is y, what can only be m is hidden, CONFIG_A=m': {
    '5.10 6.1': ['CONFIG_MODULES=y', 'CONFIG_A=m', '# CONFIG_B is not set', 'CONFIG_T=m'],
  },
};
