import type { Release } from './small-tree.ts';

/** Small Kconfig files, one for each rule of the language's meaning, that fit all generations of the kernel's program. */
export interface MeaningCase {
  readonly name: string;
  /** The text of `Kconfig`. `@MODULES@` becomes `option modules` or `modules`, as the generation has it. */
  readonly kconfig: string;
  /** The `.config` that `olddefconfig` starts from, or the preset of another mode. */
  readonly config?: string;
  readonly mode?:
    'olddefconfig' | 'defconfig' | 'alldefconfig' | 'allnoconfig' | 'allyesconfig' | 'allmodconfig';
  /** The generations that have what the case is about; all when they are not named. */
  readonly releases?: readonly Release[];
}

const modules = 'config MODULES\n\tbool "modules"\n\t@MODULES@\n';

const colours = `${modules}
choice
	prompt "colour of the float"
	default RED if !DARK
config BLUE
	bool "blue"
config RED
	bool "red"
config GREEN
	bool "green" if !DARK
endchoice
config DARK
	bool "dark"
config FROM_RED
	def_bool RED
`;

/** A choice with a default that is none of its members: the program heeds it when it has seen that one before. */
const stray = `config BEFORE
	bool "before"
choice
	prompt "which"
	default BEFORE
	default AFTER
config A
	bool "a"
config B
	bool "b"
endchoice
config AFTER
	bool "after"
config FROM_A
	def_bool A
`;

const restingModules = `config T
	tristate
	default m
config MODULES
	bool "modules"
	@MODULES@
	depends on T
	default y
config U
	tristate "u"
	default m
`;

const named = `${modules}choice PORT
	tristate "port"
	optional
config A
	tristate "a"
config B
	tristate "b"
config C
	bool "c"
endchoice
`;
const older: readonly Release[] = ['5.10', '6.1'];

export const meaningCases: readonly MeaningCase[] = [
  {
    name: 'values of all types, as they are asked for',
    kconfig: `${modules}config A\n\tbool "a"\nconfig B\n\ttristate "b"\nconfig C\n\tint "c"\nconfig D\n\thex "d"\nconfig E\n\tstring "e"\n`,
    config:
      'CONFIG_MODULES=y\nCONFIG_A=y\nCONFIG_B=m\nCONFIG_C=-17\nCONFIG_D=20\nCONFIG_E="gauge \\"7\\" C:\\\\dir \\q"\n',
  },
  {
    name: 'bad values',
    kconfig: `${modules}config A\n\tbool "a"\n\tdefault y\nconfig B\n\ttristate "b"\n\tdefault m\nconfig C\n\tint "c"\n\tdefault 5\nconfig D\n\thex "d"\n\tdefault 0x5\nconfig E\n\tstring "e"\n\tdefault "x"\n`,
    config:
      'CONFIG_MODULES=y\nCONFIG_A=m\nCONFIG_B=Y\nCONFIG_C=007\nCONFIG_D=0x\nCONFIG_E=bare\n# CONFIG_C is not set\nCONFIG_E="open\nstray\nCONFIG_A\n CONFIG_A=n\n',
  },
  {
    name: 'only the first character of a state counts; text behind a closing quote does not',
    kconfig: 'config A\n\tbool "a"\nconfig B\n\tbool "b"\n\tdefault y\nconfig E\n\tstring "e"\n',
    config: 'CONFIG_A=yes\nCONFIG_B=nothing\nCONFIG_E="a"b\n',
  },
  {
    name: 'the last line of an option counts, unless it is invalid',
    kconfig: 'config A\n\tint "a"\nconfig B\n\tint "b"\n',
    config: 'CONFIG_A=1\nCONFIG_A=2\nCONFIG_B=1\nCONFIG_B=x\n',
  },
  {
    name: 'what follows "is not set"',
    kconfig:
      'config A\n\tbool "a"\n\tdefault y\nconfig B\n\tbool "b"\n\tdefault y\nconfig C\n\tbool "c"\n\tdefault y\n',
    config: '# CONFIG_A is not set \n#  CONFIG_B is not set\n# CONFIG_C is not set\r\n',
  },
  {
    name: 'modules off: m is y for what is asked, n in a condition',
    kconfig: `${modules}config A\n\ttristate "a"\nconfig B\n\ttristate "b"\n\tdepends on m\nconfig C\n\ttristate "c"\n\tdefault m\nconfig D\n\tbool "d"\n\tdepends on A = m\n`,
    config: 'CONFIG_A=m\nCONFIG_B=m\n',
  },
  {
    name: 'modules on: m limits what depends on it',
    kconfig: `${modules}config A\n\ttristate "a"\nconfig B\n\ttristate "b"\n\tdepends on A\nconfig C\n\tbool "c"\n\tdepends on A\nconfig D\n\ttristate "d"\n\tdepends on m\nconfig E\n\ttristate "e"\n\tdepends on !A\n`,
    config: 'CONFIG_MODULES=y\nCONFIG_A=m\nCONFIG_B=y\nCONFIG_C=y\nCONFIG_D=y\nCONFIG_E=y\n',
  },
  {
    name: 'a tree without modules',
    kconfig: 'config A\n\ttristate "a"\nconfig B\n\ttristate "b"\n\tdepends on m\n',
    config: 'CONFIG_A=m\nCONFIG_B=y\n',
  },
  {
    name: 'select overrides dependencies, has a lower limit, and m of a bool is y',
    kconfig: `${modules}config A\n\ttristate "a"\n\tselect B\n\tselect C\n\tselect D if E\nconfig B\n\ttristate "b"\n\tdepends on E\nconfig C\n\tbool\nconfig D\n\ttristate "d"\nconfig E\n\tbool "e"\n`,
    config: 'CONFIG_MODULES=y\nCONFIG_A=m\n# CONFIG_B is not set\n# CONFIG_D is not set\n',
  },
  {
    name: 'imply gives way to a value and to dependencies',
    kconfig: `${modules}config A\n\ttristate "a"\n\timply B\n\timply C\n\timply D\n\timply F\nconfig B\n\ttristate "b"\nconfig C\n\ttristate "c"\nconfig D\n\ttristate\n\tdepends on E\nconfig E\n\tbool "e"\nconfig F\n\ttristate\n`,
    config: 'CONFIG_MODULES=y\nCONFIG_A=y\n# CONFIG_B is not set\n',
  },
  {
    name: 'a definition without dependencies does not lift those of another',
    kconfig:
      'config A\n\tbool "a"\n\timply B\n\tdefault y\nconfig B\n\tbool\nconfig B\n\tbool\n\tdepends on E\nconfig E\n\tbool "e"\n',
    config: '',
  },
  {
    name: 'defaults: the first whose condition holds, limited by it',
    kconfig: `${modules}config A\n\ttristate "a"\nconfig B\n\ttristate\n\tdefault n if !A\n\tdefault y if A\nconfig C\n\tint\n\tdefault 1 if A = y\n\tdefault 2 if A = m\n\tdefault 3\nconfig D\n\tstring "d"\n\tdefault C\nconfig E\n\tstring "e"\n\tdefault A\nconfig F\n\tint "f"\n\tdefault "7"\n`,
    config: 'CONFIG_MODULES=y\nCONFIG_A=m\n',
  },
  {
    name: 'what is not visible keeps no value; what has no prompt is written only when it is on',
    kconfig:
      'config A\n\tbool "a"\nconfig B\n\tbool "b" if A\n\tdefault y\nconfig C\n\tbool\nconfig D\n\tdef_bool A\nconfig E\n\tint\n\tdefault 4\nconfig F\n\tint\n',
    config: '# CONFIG_B is not set\nCONFIG_C=y\nCONFIG_E=9\nCONFIG_F=2\n',
  },
  {
    name: 'an int or hex that nobody gives a value',
    kconfig:
      'config A\n\tint "a"\nconfig B\n\thex "b"\nconfig C\n\tstring "c"\nconfig D\n\tbool "d"\n\tdefault y if A = 0\n',
    config: '',
  },
  {
    name: 'ranges: values below, inside and above, and what rests on them',
    kconfig:
      'config A\n\tint "a"\n\trange 10 100\n\tdefault 50\nconfig B\n\tint\n\tdefault A\nconfig C\n\tbool "c"\n\tdefault y if A = 50\nconfig D\n\thex "d"\n\trange 0x10 0xff\n\tdefault 20\nconfig E\n\tint "e"\n\trange A 60\n\tdefault 3\nconfig F\n\tint "f"\n\trange 1 5\n\tdefault 2\n',
    config: 'CONFIG_A=5000\nCONFIG_D=0x3\nCONFIG_E=55\nCONFIG_F=4\n',
  },
  {
    name: 'a default out of range is moved to the bound, with its spelling',
    kconfig:
      'config A\n\thex "a"\n\trange 0x0010 0xFf\n\tdefault 0x1\nconfig B\n\tint "b"\n\trange -5 5 if C\n\trange 0 99\n\tdefault -100\nconfig C\n\tbool "c"\n',
    config: 'CONFIG_C=y\n',
  },
  {
    name: 'comparisons of numbers, strings, states and names of nothing',
    kconfig:
      'config V\n\tint\n\tdefault 120200\nconfig H\n\thex\n\tdefault 0x10\nconfig S\n\tstring\n\tdefault "10"\nconfig A\n\tdef_bool V >= 110000\nconfig B\n\tdef_bool H = 16\nconfig C\n\tdef_bool S < "9"\nconfig D\n\tdef_bool NOTHING = "NOTHING"\nconfig E\n\tdef_bool NOTHING != n\nconfig F\n\tdef_bool "x" = "x"\nconfig G\n\tdef_bool 010 = 8\nconfig I\n\tdef_bool V > H\nconfig J\n\tdef_bool m > n\nconfig K\n\tdef_bool -1 < 1\n',
    config: '',
  },
  {
    name: 'and, or, not and parentheses',
    kconfig:
      'config A\n\tbool "a"\nconfig B\n\tbool "b"\nconfig C\n\tdef_bool A || B && !A\nconfig D\n\tdef_bool (A || B) && !(A && B)\nconfig E\n\tdef_bool !!A\nconfig F\n\tdef_bool !A = y\n',
    config: 'CONFIG_A=y\n',
  },
  {
    name: 'chains of the same kind in parentheses, and the comparisons that are left',
    kconfig:
      'config A\n\tbool "a"\nconfig N\n\tint "n"\n\tdefault 7\nconfig B\n\tdef_bool A && (y && (A && !B_OFF))\nconfig C\n\tdef_bool B_OFF || (n || (A || n))\nconfig D\n\tdef_bool N <= 7 && N >= 7 && !(N < 7 || N > 7)\nconfig E\n\tdef_bool N <= 6\nconfig B_OFF\n\tbool\n',
    config: 'CONFIG_A=y\n',
  },
  {
    name: 'a choice and the bound of a range that rest on each other',
    kconfig:
      'config I\n\tint "i"\n\trange A 9\n\tdefault 3\nchoice\n\tprompt "which"\n\tdefault B if I = 3\nconfig A\n\tbool "a"\nconfig B\n\tbool "b"\nendchoice\n',
    config: '',
  },
  { name: 'choice: the default', kconfig: colours, config: '' },
  { name: 'choice: the one that is asked for', kconfig: colours, config: 'CONFIG_GREEN=y\n' },
  { name: 'choice: the last of two', kconfig: colours, config: 'CONFIG_GREEN=y\nCONFIG_BLUE=y\n' },
  {
    name: 'choice: one that cannot be',
    kconfig: colours,
    config: 'CONFIG_DARK=y\nCONFIG_BLUE=y\nCONFIG_GREEN=y\n',
  },
  { name: 'choice: the default is refused', kconfig: colours, config: '# CONFIG_RED is not set\n' },
  {
    name: 'choice: all are refused',
    kconfig: colours,
    config: '# CONFIG_GREEN is not set\n# CONFIG_RED is not set\n# CONFIG_BLUE is not set\n',
  },
  {
    name: 'choice: asked for, then refused',
    kconfig: colours,
    config: 'CONFIG_GREEN=y\n# CONFIG_GREEN is not set\n',
  },
  {
    name: 'choice: its prompt cannot be seen',
    kconfig:
      'config ON\n\tbool "on"\nchoice\n\tprompt "which" if ON\nconfig A\n\tbool "a"\nconfig B\n\tbool "b"\nendchoice\nconfig C\n\tdef_bool A\n',
    config: 'CONFIG_B=y\n',
  },
  {
    name: 'choice: its dependency does not hold',
    kconfig:
      'config ON\n\tbool "on"\nchoice\n\tprompt "which"\n\tdepends on ON\nconfig A\n\tbool "a"\nconfig B\n\tbool "b"\nendchoice\n',
    config: 'CONFIG_B=y\n',
  },
  {
    name: 'choice: members in an if block, and ones that depend on others outside',
    kconfig:
      'config ON\n\tbool "on"\nchoice\n\tprompt "which"\nif ON\nconfig A\n\tbool "a"\nendif\nconfig B\n\tbool "b"\n\tdepends on !ON\nconfig C\n\tbool "c"\n\tselect D\nendchoice\nconfig D\n\tbool\n',
    config: 'CONFIG_ON=y\nCONFIG_B=y\n',
  },
  { name: 'choice: allyesconfig', kconfig: colours, mode: 'allyesconfig' },
  {
    name: 'choice: allyesconfig with a preset',
    kconfig: colours,
    mode: 'allyesconfig',
    config: 'CONFIG_GREEN=y\n# CONFIG_DARK is not set\n',
  },
  { name: 'choice: allnoconfig', kconfig: colours, mode: 'allnoconfig' },
  { name: 'choice: defconfig', kconfig: colours, mode: 'defconfig', config: 'CONFIG_BLUE=y\n' },
  {
    name: 'menus, comments and their ends in the text',
    kconfig:
      'mainmenu "Otter Bank"\nmenu "first"\nconfig A\n\tbool "a"\nmenu "inner"\n\tdepends on A\nconfig B\n\tbool "b"\nendmenu\ncomment "a remark"\n\tdepends on !A\nendmenu\nmenu "empty"\nendmenu\nmenuconfig C\n\tbool "c"\nif C\nconfig D\n\tbool "d"\nmenu "in an if"\nconfig E\n\tbool "e"\nendmenu\nendif\nconfig F\n\tbool "f"\n',
    config: 'CONFIG_C=y\n',
  },
  {
    name: 'visible if hides prompts, but no remarks and inner menus',
    kconfig:
      'config S\n\tbool "s"\nmenu "outer"\n\tvisible if S\nconfig A\n\tbool "a"\n\tdefault y\nmenu "inner"\nconfig B\n\tbool "b"\nendmenu\ncomment "still here"\nendmenu\nconfig C\n\tdef_bool A\n',
    config: '# CONFIG_A is not set\nCONFIG_B=y\n',
  },
  {
    name: 'a symbol with several definitions',
    kconfig:
      'config X\n\tbool "x"\nif X\nconfig A\n\tint "a in x"\n\tdefault 3\nendif\nmenu "m"\nconfig A\n\tint\n\tdefault 4\nconfig B\n\tbool "b"\nendmenu\nconfig A\n\tint "a outside" if B\n',
    config: 'CONFIG_A=8\n',
  },
  {
    name: 'defaults alone',
    kconfig: `${modules}config A\n\ttristate "a"\n\tdefault m\nconfig B\n\tbool "b"\n`,
    mode: 'alldefconfig',
  },
  {
    name: 'all yes',
    kconfig: `${modules}config A\n\ttristate "a"\nconfig B\n\tbool "b"\n\tdepends on !A\nconfig C\n\tint "c"\n\tdefault 2\nconfig D\n\tbool\n`,
    mode: 'allyesconfig',
  },
  {
    name: 'all modules',
    kconfig: `${modules}config A\n\ttristate "a"\nconfig B\n\tbool "b"\nconfig C\n\tbool "c"\n\tdepends on A\n`,
    mode: 'allmodconfig',
  },
  {
    name: 'all no, with a preset',
    kconfig: `${modules}config A\n\ttristate "a"\n\tdefault y\nconfig B\n\tbool "b"\n\tdefault y\nconfig E\n\tbool "e"\n\tselect A\n`,
    mode: 'allnoconfig',
    config: 'CONFIG_E=y\n',
  },
  {
    name: 'a range bound by what itself goes back to its default',
    kconfig:
      'config LOW\n\tint "low"\n\trange 0 10\n\tdefault 5\nconfig A\n\tint "a"\n\trange LOW 100\n\tdefault 50\nconfig B\n\tint "b"\n\tdefault A\n',
    config: 'CONFIG_LOW=90\nCONFIG_A=7\n',
  },
  {
    name: 'a value out of range in a defconfig',
    kconfig: 'config A\n\tint "a"\n\trange 10 100\n\tdefault 50\nconfig B\n\tint\n\tdefault A\n',
    mode: 'defconfig',
    config: 'CONFIG_A=5000\n',
  },
  { name: 'choice: a default that is no member', kconfig: stray, config: '' },
  { name: 'choice: a default that is no member, from nothing', kconfig: stray, mode: 'alldefconfig' },
  { name: 'choice: a default that is no member, defconfig', kconfig: stray, mode: 'defconfig', config: '' },
  { name: 'choice: a default that is no member, all yes', kconfig: stray, mode: 'allyesconfig' },
  { name: 'choice: a default that is no member, all no', kconfig: stray, mode: 'allnoconfig' },
  {
    name: 'choice: a default that is no member, and one is asked for',
    kconfig: stray,
    config: 'CONFIG_AFTER=y\nCONFIG_B=y\n',
  },
  {
    name: 'choice: a default that is no member, and all has a value',
    kconfig: stray,
    config:
      '# CONFIG_BEFORE is not set\n# CONFIG_A is not set\n# CONFIG_B is not set\n# CONFIG_AFTER is not set\n',
  },
  {
    name: 'choice: a default that is no member, and the choice rests on it',
    kconfig: stray.replace('\tprompt "which"\n', '\tprompt "which"\n\tdepends on AFTER\n'),
    config: 'CONFIG_AFTER=y\n',
  },
  {
    name: 'choice: a default that is no member, and a member shows another choice',
    kconfig:
      'config S\n\tbool "s"\nchoice\n\tprompt "c" if S\n\tdefault S\nconfig M\n\tbool "m"\nendchoice\nchoice\n\tprompt "d" if M\nendchoice\n',
    releases: ['6.12', '7.3'],
  },
  {
    name: 'choice: a default that nothing defines, and one that is a constant',
    kconfig: stray.replace('default BEFORE', 'default NOWHERE').replace('default AFTER', 'default y'),
    config: '',
  },
  {
    name: 'visible if m shows the menu, whether there are modules or not',
    kconfig:
      'menu "one"\n\tvisible if m\nconfig A\n\tbool "a"\nendmenu\nmenu "two"\n\tvisible if !m && (m || y)\nconfig B\n\tbool "b"\nendmenu\nmenu "three"\n\tvisible if m = n\nconfig C\n\tbool "c"\nendmenu\n',
    config: 'CONFIG_A=y\n',
  },
  {
    name: 'ranges that rest on each other',
    kconfig:
      'config S\n\tint "s"\n\tdefault 1\n\trange L 100\n\trange 0 9 if Q > 3\nconfig L\n\tint "l"\n\tdefault 50\n\trange 0 Q\nconfig Q\n\tint "q"\n\tdefault 5\n\trange L 100\n',
    mode: 'alldefconfig',
  },
  { name: 'modules rest on what is worked out before them', kconfig: restingModules, config: '' },
  {
    name: 'modules rest on what is worked out again when nothing changes',
    kconfig: restingModules,
    config: 'CONFIG_T=y\nCONFIG_MODULES=y\nCONFIG_U=m\n',
  },
  {
    name: 'modules rest on what is not worked out again when a line is not understood',
    kconfig: restingModules,
    config: 'CONFIG_T=y\nCONFIG_MODULES=y\nCONFIG_U=m\nCONFIG_U=m\n',
  },
  ...['CONFIG_B=y\n', 'CONFIG_A=m\n'].map((config) => ({
    name: `choice: of one that is y, what can only be m is hidden, ${config.trim()}`,
    kconfig: `${named}config T\n\ttristate "t"\n`.replace('"a"\n', '"a"\n\tdepends on T\n'),
    config: `CONFIG_MODULES=y\nCONFIG_T=m\n${config}`,
    releases: older,
  })),
  ...(
    [
      ['y', 'CONFIG_PORT=y\n'],
      ['m', 'CONFIG_PORT=m\nCONFIG_B=y\n'],
      ['m, for members that are m', 'CONFIG_PORT=m\nCONFIG_A=m\n'],
      ['n, and then a member', '# CONFIG_PORT is not set\nCONFIG_B=y\n'],
      ['n, after a member', 'CONFIG_B=y\n# CONFIG_PORT is not set\n'],
      ['nothing that it can be', 'CONFIG_PORT="y"\n'],
    ] as const
  ).map(([name, config]) => ({
    name: `choice with a name, set to ${name}`,
    kconfig: named,
    config: `CONFIG_MODULES=y\n${config}`,
    releases: older,
  })),
];
