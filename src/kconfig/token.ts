/**
 * Kinds of tokens. They are numbers because the reader compares them a million times a tree; the keywords are numbered
 * from `firstKeyword`.
 */
export const token = {
  end: 0,
  eol: 1,
  word: 2,
  quoted: 3,
  or: 4,
  and: 5,
  equal: 6,
  unequal: 7,
  less: 8,
  lessEqual: 9,
  greater: 10,
  greaterEqual: 11,
  not: 12,
  open: 13,
  close: 14,
  colonEqual: 15,
  plusEqual: 16,
  config: 20,
  menuconfig: 21,
  choice: 22,
  endchoice: 23,
  menu: 24,
  endmenu: 25,
  if: 26,
  endif: 27,
  source: 28,
  comment: 29,
  mainmenu: 30,
  bool: 31,
  tristate: 32,
  int: 33,
  hex: 34,
  string: 35,
  prompt: 36,
  default: 37,
  defBool: 38,
  defTristate: 39,
  select: 40,
  imply: 41,
  range: 42,
  depends: 43,
  on: 44,
  visible: 45,
  help: 46,
  modules: 47,
  optional: 48,
  transitional: 49,
  option: 50,
  defconfigList: 51,
  allnoconfigY: 52,
} as const;

export type Token = number;

const common: ReadonlyMap<string, Token> = new Map([
  ['config', token.config],
  ['menuconfig', token.menuconfig],
  ['choice', token.choice],
  ['endchoice', token.endchoice],
  ['menu', token.menu],
  ['endmenu', token.endmenu],
  ['if', token.if],
  ['endif', token.endif],
  ['source', token.source],
  ['comment', token.comment],
  ['mainmenu', token.mainmenu],
  ['bool', token.bool],
  ['tristate', token.tristate],
  ['int', token.int],
  ['hex', token.hex],
  ['string', token.string],
  ['prompt', token.prompt],
  ['default', token.default],
  ['def_bool', token.defBool],
  ['def_tristate', token.defTristate],
  ['select', token.select],
  ['imply', token.imply],
  ['range', token.range],
  ['depends', token.depends],
  ['on', token.on],
  ['visible', token.visible],
  ['help', token.help],
  ['modules', token.modules],
]);

/** The words that are reserved in a dialect: no symbol can have such a name. */
export function keywordsOf(dialect: {
  readonly optionKeyword: boolean;
  readonly choiceHasValue: boolean;
  readonly transitional: boolean;
}): Keywords {
  const words = new Map(common);
  if (dialect.choiceHasValue) words.set('optional', token.optional);
  if (dialect.transitional) words.set('transitional', token.transitional);
  if (dialect.optionKeyword) {
    words.set('option', token.option);
    words.set('defconfig_list', token.defconfigList);
    words.set('allnoconfig_y', token.allnoconfigY);
  }
  return new Keywords(words);
}

/** Finds keywords where they stand in a text, without making a string of each word. */
export class Keywords {
  /** By shape the one keyword that has it: no two are equal in length, first and last character. */
  private readonly byShape = new Uint8Array(1 << 14);
  private readonly words: string[] = [];

  constructor(kinds: ReadonlyMap<string, Token>) {
    for (const [word, kind] of kinds) {
      this.byShape[shapeOf(word, 0, word.length)] = kind;
      this.words[kind] = word;
    }
  }

  /** The kind of the word from `start` to `end`. */
  kindOf(text: string, start: number, end: number): Token {
    if (end - start > longestKeyword) return token.word;
    const kind = this.byShape[shapeOf(text, start, end)] ?? 0;
    return kind !== 0 && text.startsWith(this.words[kind] ?? '', start) ? kind : token.word;
  }
}

const longestKeyword = 15;

function shapeOf(text: string, start: number, end: number): number {
  return ((text.charCodeAt(start) & 31) << 9) | ((text.charCodeAt(end - 1) & 31) << 4) | ((end - start) & 15);
}
