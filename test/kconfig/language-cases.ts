/** Kconfig files that are unusual or wrong, for the question whether both read them, and what both make of them. */
export interface LanguageCase {
  readonly name: string;
  /** The root is called `Kconfig`. */
  readonly files: Readonly<Record<string, string>>;
}

const a = 'config A\n\tbool "a"\n';
const root = (name: string, text: string): LanguageCase => ({ name, files: { Kconfig: text } });

const lexing = [
  root('no line feed at the end', 'config A\n\tbool "a"\n\tdefault y'),
  root('carriage returns', 'config A\r\n\tbool "a"\r\n\tdefault y\r\n'),
  root('comments behind words', 'config A # first\n\tbool "a # b" # second\n\tdefault y # third\n'),
  root('joined lines', 'config A\n\tbool \\\n\t"a"\n\tdefault \\\n y\n'),
  root('joined lines in a string', 'config A\n\tstring "a"\n\tdefault "x\\\ny"\n'),
  root('both quotes', 'config A\n\tstring \'a "quoted" one\'\n\tdefault \'it "is"\'\n'),
  root('escapes in strings', 'config A\n\tstring "a"\n\tdefault "\\a\\"\\\\\\n\\\'"\n'),
  root('a string without end', 'config A\n\tbool "a\n\tdefault y\n'),
  root('no line feed behind a comment', 'config A\n\tbool "a"\n\tdefault y\n# end'),
  root('no line feed behind a word and a comment', 'menu "m"\nconfig A\n\tbool "a"\nendmenu # end'),
  root('no line feed behind a help text', 'config A\n\tbool "a"\n\thelp\n\t  one'),
  root('no line feed behind a macro of nothing', 'config A\n\tbool "a"\n\tdefault y\n$(NOTHING)'),
  root('no line feed behind an assignment', 'config A\n\tbool "a"\n\tdefault $(B)\nB = y'),
  root('no line feed behind an unknown character', 'config A\n\tbool "a"\n\tdefault y\n@'),
  root('no line feed behind a joined line', 'config A\n\tbool "a"\n\tdefault y \\\n'),
  root('a string without end at the end', 'config A\n\tbool "a'),
  root('unknown characters', 'config A\n\tbool "a" ;\n\tdefault y @\n'),
  root('dashes in names', 'config A-B\n\tbool "a"\n\tdefault y\n'),
  root('bytes that are no ASCII', 'config A\n\tstring "gr\xfc\xdfe"\n\tdefault "\xc3\xa9\xff"\n'),
  root('blank lines and blanks', '\n\n  \t\nconfig A\n\n\tbool "a"\n \n\tdefault y\n\n'),
  root('no indentation', 'config A\nbool "a"\ndefault y\n'),
  root('an empty file', ''),
  root('only a comment', '# nothing\n'),
  root('a zero byte', 'config A\n\tbool "a\0b"\n\tdefault y\n'),
];

const help = [
  root('help ends with the indentation', 'config A\n\tbool "a"\n\thelp\n\t  one\n\n\t  two\n\tdefault y\n'),
  root('help at the edge', 'config A\n\tbool "a"\n\thelp\nconfig B\n\tbool "b"\n'),
  root('help with blanks for tabs', 'config A\n\tbool "a"\n\thelp\n        one\n\t two\n       default y\n'),
  root('blank help', 'config A\n\tbool "a"\n\thelp\n\nconfig B\n\tbool "b"\n'),
  root('help at the end of the file', 'config A\n\tbool "a"\n\thelp'),
  root('help twice', 'config A\n\tbool "a"\n\thelp\n\t  one\n\thelp\n\t  two\n'),
  root(
    'help with keywords in it',
    'config A\n\tbool "a"\n\thelp\n\t  config B\n\t  $(shell,exit 1)\n\t  "\n',
  ),
  root('old help', 'config A\n\tbool "a"\n\t---help---\n\t  one\n'),
];

const macros = [
  root(
    'recursive and simple variables',
    'B = $(C)\nD := $(C)\nC = y\nconfig A\n\tbool "a $(B) $(D)"\n\tdefault $(B)\n',
  ),
  root(
    'appending',
    'B := x\nB += y\nC = x\nC += $(B)\nB += z\nD += only\nconfig A\n\tstring "a"\n\tdefault "$(B)|$(C)|$(D)"\n',
  ),
  root('functions', 'f = $(2)-$(1)-$(0)-$(3)\nconfig A\n\tstring "a"\n\tdefault "$(f,x,(y,z))"\n'),
  root('blanks in arguments', 'f = [$(1)][$(2)]\nconfig A\n\tstring "a"\n\tdefault "$(f, x , y )"\n'),
  root('computed names', 'n = B\nB = y\nconfig A_$(n)\n\tbool "a"\n\tdefault $($(n))\n'),
  root('words that vanish', 'config A\n\tbool "a"\n\tdefault $(NOTHING) y\n'),
  root('a dollar by itself', 'config A\n\tstring "a"\n\tdefault "$ $B ${B} $"\n'),
  root('a variable of itself', 'B = $(B)\nconfig A\n\tstring "a"\n\tdefault "$(B)"\n'),
  root('a macro without end', 'config A\n\tstring "a"\n\tdefault "$(B"\n'),
  root('a macro without end in a variable', 'B = $(C\nconfig A\n\tbool "$(B)"\n'),
  root('shell', 'config A\n\tstring "a"\n\tdefault "$(shell,echo one; echo; echo two; echo)"\n'),
  root('shell without output', 'config A\n\tstring "a"\n\tdefault "[$(shell,true)]"\n'),
  root('warning-if', '$(warning-if,n,no)\n$(warning-if,y,be careful)\nconfig A\n\tbool "a"\n'),
  root('error-if', '$(error-if,n,no)\nconfig A\n\tbool "a"\n$(error-if,y,stop)\n'),
  root(
    'info, filename, lineno',
    '$(info,otter)\nconfig A\n\tstring "a"\n\tdefault "$(filename):$(lineno)"\n',
  ),
  root(
    'too many arguments',
    'f = x\nconfig A\n\tstring "a"\n\tdefault "$(f,1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17)"\n',
  ),
  root('an unknown function', 'config A\n\tstring "a"\n\tdefault "[$(nothing,x)]"\n'),
  root('too few arguments', 'config A\n\tbool "a"\n$(warning-if,y)\n'),
  root('an assignment of nothing', 'B =\nC :=\nconfig A\n\tstring "a"\n\tdefault "[$(B)$(C)]"\n'),
  root('an assignment with a comment', 'B = x # y\nconfig A\n\tstring "a"\n\tdefault "$(B)"\n'),
  root('endless functions', 'f = $(f,$(1)x)\nconfig A\n\tstring "a"\n\tdefault "$(f,y)"\n'),
  root(
    'a condition out of a macro',
    'c = y\nif $(c)\nconfig A\n\tbool "a"\nendif\nif "$(c)" = "n"\nconfig B\n\tbool "b"\nendif\n',
  ),
];

const sources: readonly LanguageCase[] = [
  {
    name: 'source',
    files: { Kconfig: `source "Kconfig.b"\n${a}`, 'Kconfig.b': 'config B\n\tbool "b"\n\tdefault y\n' },
  },
  { name: 'source by a macro', files: { Kconfig: 'n = b\nsource "Kconfig.$(n)"\n', 'Kconfig.b': a } },
  { name: 'source of nothing', files: { Kconfig: `${a}source "Kconfig.b"\n` } },
  { name: 'source of itself', files: { Kconfig: `${a}source "Kconfig"\n` } },
  {
    name: 'source in a circle',
    files: { Kconfig: 'source "Kconfig.b"\n', 'Kconfig.b': 'source "Kconfig"\n' },
  },
  {
    name: 'source twice',
    files: { Kconfig: 'source "Kconfig.b"\nsource "Kconfig.b"\n', 'Kconfig.b': 'config B\n\tbool "b"\n' },
  },
  {
    name: 'a menu over two files',
    files: { Kconfig: `menu "m"\nsource "Kconfig.b"\n${a}`, 'Kconfig.b': 'endmenu\n' },
  },
  {
    name: 'an end without a line feed in a sourced file',
    files: { Kconfig: `source "Kconfig.b"\n${a}`, 'Kconfig.b': 'if y\nconfig B\n\tbool "b"\nendif' },
  },
  {
    name: 'a file without a line feed',
    files: { Kconfig: `source "Kconfig.b"\n${a}`, 'Kconfig.b': 'config B\n\tbool "b"' },
  },
];

const structure = [
  root('a menu without end', 'menu "m"\nconfig A\n\tbool "a"\n'),
  root('an if without end', 'if y\nconfig A\n\tbool "a"\n'),
  root('an end too many', `${a}endmenu\n`),
  root('the wrong end', 'menu "m"\nif y\nconfig A\n\tbool "a"\nendmenu\nendif\n'),
  root('an unknown word', 'config A\n\tbool "a"\n\tcolour red\n'),
  root('an unknown statement', 'sluice A\n'),
  root('a config without name', 'config\n\tbool "a"\n'),
  root('a config with two names', 'config A B\n\tbool "a"\n'),
  root('a menu without title', `menu\n${a}endmenu\n`),
  root('mainmenu in the middle', `${a}mainmenu "Otter"\n`),
  root('mainmenu twice', `mainmenu "Otter"\nmainmenu "Bank"\n${a}`),
  root('a comment with attributes', 'comment "one"\n\tdepends on y\ncomment "two" if y\n'),
  root('an empty menu', `menu "m"\nendmenu\n${a}`),
  root('visible if, twice', `menu "m"\n\tvisible if B\n\tvisible if y\n${a}endmenu\nconfig B\n\tbool "b"\n`),
  root('visible if of a config', 'config A\n\tbool "a"\n\tvisible if y\n'),
  root('an if without condition', `if\n${a}endif\n`),
  root('depends without on', 'config A\n\tbool "a"\n\tdepends y\n'),
  root('depends on nothing', 'config A\n\tbool "a"\n\tdepends on\n'),
  root('depends if', 'config B\n\tbool "b"\nconfig A\n\tbool "a"\n\tdepends on B if !B\n'),
  root('transitional', 'config O\n\tbool\n\ttransitional\nconfig A\n\tbool "a"\n\tdefault O\n'),
  root('transitional with a prompt', 'config A\n\tbool "a"\n\ttransitional\n'),
  root('a name that became a word', 'config transitional\n\tbool "a"\n'),
];

const attributes = [
  root('no type', 'config A\n\tprompt "a"\n\tdefault y\n'),
  root('two types', 'config A\n\tbool "a"\n\tint "b"\n'),
  root('two types in two places', 'config A\n\tbool "a"\nconfig A\n\tint "b"\n'),
  root('the same type twice', 'config A\n\tbool "a"\nconfig A\n\tbool\n\tdefault y\n'),
  root('two prompts', 'config A\n\tbool "a"\n\tprompt "b"\n'),
  root('a prompt with blanks', 'config A\n\tbool "  a  "\n'),
  root('a prompt in a condition', 'config A\n\tbool "a" if n\n\tdefault y\n'),
  root('a menuconfig without prompt', 'menuconfig A\n\tbool\n\tdefault y\n'),
  root('def_bool and def_tristate', 'config A\n\tdef_bool y if y\nconfig B\n\tdef_tristate m\n'),
  root(
    'defaults that are no numbers',
    'config A\n\tint "a"\n\tdefault "x"\nconfig B\n\thex "b"\n\tdefault 12\nconfig C\n\tint "c"\n\tdefault 010\n',
  ),
  root('a default that is an expression', 'config B\n\tbool "b"\nconfig A\n\tint "a"\n\tdefault B && 5\n'),
  root('a default without value', 'config A\n\tbool "a"\n\tdefault\n'),
  root('range of a bool', 'config A\n\tbool "a"\n\trange 1 2\n'),
  root('range upside down', 'config A\n\tint "a"\n\trange 9 3\n\tdefault 5\n'),
  root('range of what is no number', 'config B\n\tbool "b"\nconfig A\n\tint "a"\n\trange B 7\n\tdefault 9\n'),
  root('range of an undefined one', 'config A\n\tint "a"\n\trange NOWHERE 7\n\tdefault 9\n'),
  root('select of an int', 'config B\n\tint "b"\nconfig A\n\tbool "a"\n\tselect B\n'),
  root('select by an int', 'config B\n\tbool "b"\nconfig A\n\tint "a"\n\tselect B\n'),
  root('select of nothing', 'config A\n\tbool "a"\n\tselect NOWHERE\n\timply NOWHERE\n\tdefault y\n'),
  root('modules of another one', 'config A\n\tbool "a"\n\tmodules\nconfig B\n\ttristate "b"\n\tdefault m\n'),
  root(
    'option modules',
    'config A\n\tbool "a"\n\toption modules\n\tdefault y\nconfig B\n\ttristate "b"\n\tdefault m\n',
  ),
  root('option allnoconfig_y', 'config A\n\tbool "a"\n\toption allnoconfig_y\n'),
  root('option env', 'config A\n\tstring "a"\n\toption env="HOME"\n'),
  root('optional of a config', 'config A\n\tbool "a"\n\toptional\n'),
];

const choices = [
  root('a choice without prompt', `choice\n${a}endchoice\n`),
  root('a choice with a typed prompt', `choice\n\tbool "c"\n${a}endchoice\n`),
  root('a choice with a name', `choice C\n\tprompt "c"\n${a}endchoice\n`),
  root('a member that is an int', 'choice\n\tprompt "c"\nconfig A\n\tint "a"\nendchoice\n'),
  root('a member without prompt', `choice\n\tprompt "c"\n${a}config B\n\tbool\nendchoice\n`),
  root('a member with a default', 'choice\n\tprompt "c"\nconfig A\n\tbool "a"\n\tdefault y\nendchoice\n'),
  root(
    'a default that is no member',
    `choice\n\tprompt "c"\n\tdefault B\n${a}endchoice\nconfig B\n\tbool "b"\n`,
  ),
  root(
    'a default that is no member, and comes before',
    `config B\n\tbool "b"\nchoice\n\tprompt "c"\n\tdefault B\n${a}endchoice\n`,
  ),
  root('a choice with a select', `choice\n\tprompt "c"\n\tselect B\n${a}endchoice\nconfig B\n\tbool "b"\n`),
  root('a choice in a choice', `choice\n\tprompt "c"\nchoice\n\tprompt "d"\n${a}endchoice\nendchoice\n`),
  root('a menu in a choice', `choice\n\tprompt "c"\nmenu "m"\n${a}endmenu\nendchoice\n`),
  root(
    'if and comment in a choice',
    `choice\n\tprompt "c"\nif y\n${a}endif\ncomment "k"\nconfig B\n\tbool "b"\nendchoice\n`,
  ),
  root(
    'a member that is selected',
    `choice\n\tprompt "c"\n${a}config B\n\tbool "b"\nendchoice\nconfig C\n\tbool "d"\n\tselect B\n\tdefault y\n`,
  ),
  root('a member defined again', `choice\n\tprompt "c"\n${a}endchoice\nconfig A\n\tbool\n\tdefault y\n`),
  root(
    'members under members',
    `choice\n\tprompt "c"\n${a}config B\n\tbool "b"\n\tdepends on A\nendchoice\n`,
  ),
  root(
    'a choice of another file',
    `choice\n\tprompt "c"\n\tdepends on D\n${a}endchoice\nconfig D\n\tbool "d"\n\tdefault y\n`,
  ),
];

const circles = [
  root(
    'two that depend on each other',
    'config A\n\tbool "a"\n\tdepends on B\nconfig B\n\tbool "b"\n\tdepends on A\n',
  ),
  root('one that depends on itself', 'config A\n\tbool "a"\n\tdepends on A\n'),
  root('one that depends on not itself', 'config A\n\tbool "a"\n\tdepends on !A\n'),
  root('select against depends', 'config A\n\tbool "a"\n\tselect B\nconfig B\n\tbool "b"\n\tdepends on !A\n'),
  root('select of itself', 'config A\n\tbool "a"\n\tselect A\n'),
  root('two that select each other', 'config A\n\tbool "a"\n\tselect B\nconfig B\n\tbool "b"\n\tselect A\n'),
  root('imply in a circle', 'config A\n\tbool "a"\n\timply B\nconfig B\n\tbool "b"\n\timply A\n'),
  root('defaults in a circle', 'config A\n\tbool "a"\n\tdefault B\nconfig B\n\tbool "b"\n\tdefault A\n'),
  root('a default of itself', 'config A\n\tint "a"\n\tdefault A\n'),
  root('ranges in a circle', 'config A\n\tint "a"\n\trange B 9\nconfig B\n\tint "b"\n\trange A 9\n'),
  root(
    'the bound of a range in a circle of conditions',
    'choice\n\tprompt "c"\n\tdefault A if I\nconfig A\n\tbool "a"\nendchoice\nconfig I\n\tint "i"\n\trange A 9\n',
  ),
  root(
    'circles with and without the bound of a range',
    'config A\n\tint "a"\n\trange B 9\n\tdefault 1 if B\nconfig B\n\tint "b"\n\tdefault 1 if A\n',
  ),
  root(
    'members that depend on each other',
    'choice\n\tprompt "c"\nconfig A\n\tbool "a"\n\tdepends on !B\nconfig B\n\tbool "b"\n\tdepends on !A\nendchoice\n',
  ),
  root(
    'members in an if that depend on each other',
    'choice\n\tprompt "c"\nif y\nconfig A\n\tbool "a"\nconfig B\n\tbool "b"\n\tdepends on A\nendif\nendchoice\n',
  ),
  root(
    'members in an if that depends on another member',
    'choice\n\tprompt "c"\nconfig A\n\tbool "a"\nif !A\nconfig B\n\tbool "b"\nendif\nendchoice\n',
  ),
  root(
    'a choice that depends on its member',
    'choice\n\tprompt "c"\n\tdepends on A\nconfig A\n\tbool "a"\nendchoice\n',
  ),
  root(
    'the condition of a default in a circle',
    'config A\n\tbool "a"\n\tdefault y if B\nconfig B\n\tbool "b"\n\tdepends on A\n',
  ),
  root('the condition of a prompt in a circle', 'config A\n\tbool "a" if B\nconfig B\n\tbool "b" if A\n'),
];

export const languageCases: readonly LanguageCase[] = [
  ...lexing,
  ...help,
  ...macros,
  ...sources,
  ...structure,
  ...attributes,
  ...choices,
  ...circles,
];
