/**
 * The kernel's Kconfig program has changed over the years, and a tree means what its own program makes of it. Which
 * rules hold is read from the sources of that program in the tree (scripts/kconfig), feature by feature, so that a
 * release between two that are known, or one with backports, is taken for what it is.
 */
import type { TreeFiles } from './tree-files.ts';

export interface Dialect {
  /** The release whose rules these are, or come nearest to: for people. */
  readonly name: '5.10' | '6.1' | '6.12' | '7.3';
  /** `option modules`, `option defconfig_list`, `option allnoconfig_y`; otherwise `modules` stands alone. */
  readonly optionKeyword: boolean;
  /** A choice has a value of its own, may be tristate, optional or named, and hides its members when it is n. */
  readonly choiceHasValue: boolean;
  /** An int or hex value out of range is forgotten (its default comes instead); otherwise it is moved to the bound. */
  readonly forgetsOutOfRange: boolean;
  /** An int or hex without any value is 0; otherwise it is empty. */
  readonly emptyNumberIsZero: boolean;
  /** Nothing may follow `is not set` in a `.config`. */
  readonly exactNotSet: boolean;
  /** `# CONFIG_X is not set` is an error for an int or hex; otherwise it is passed over. */
  readonly notSetIsValue: boolean;
  /** A `.config` may have `#`, any character, `CONFIG_X is not set`. */
  readonly looseComment: boolean;
  /** A line of a `.config` without `=` is reported. */
  readonly reportsBareName: boolean;
  /** A menu without entries has an end line in the `.config`. */
  readonly endsEmptyMenu: boolean;
  /** `depends on X if Y`. */
  readonly conditionalDepends: boolean;
  readonly transitional: boolean;
  /** A file may be sourced once. */
  readonly sourceOnce: boolean;
  /** Two help texts, a blank one, `menuconfig` without prompt are errors; otherwise they are warnings. */
  readonly strictEntries: boolean;
  /** `bool "…"` may be the prompt of a choice. */
  readonly choiceTypePrompt: boolean;
  /** The file that a tree starts from ends with a line feed; otherwise that it does not is a warning. */
  readonly needsLastLineFeed: boolean;
}

/** The rules of four releases, for trees without the program's sources and for tests. */
export const dialects: Readonly<Record<Dialect['name'], Dialect>> = {
  '5.10': {
    name: '5.10',
    optionKeyword: true,
    choiceHasValue: true,
    forgetsOutOfRange: true,
    emptyNumberIsZero: false,
    exactNotSet: false,
    notSetIsValue: false,
    looseComment: true,
    reportsBareName: false,
    endsEmptyMenu: false,
    conditionalDepends: false,
    transitional: false,
    sourceOnce: false,
    strictEntries: false,
    choiceTypePrompt: true,
    needsLastLineFeed: false,
  },
  '6.1': {
    name: '6.1',
    optionKeyword: false,
    choiceHasValue: true,
    forgetsOutOfRange: true,
    emptyNumberIsZero: false,
    exactNotSet: false,
    notSetIsValue: true,
    looseComment: false,
    reportsBareName: false,
    endsEmptyMenu: true,
    conditionalDepends: false,
    transitional: false,
    sourceOnce: false,
    strictEntries: false,
    choiceTypePrompt: true,
    needsLastLineFeed: false,
  },
  '6.12': {
    name: '6.12',
    optionKeyword: false,
    choiceHasValue: false,
    forgetsOutOfRange: false,
    emptyNumberIsZero: true,
    exactNotSet: true,
    notSetIsValue: true,
    looseComment: false,
    reportsBareName: true,
    endsEmptyMenu: true,
    conditionalDepends: false,
    transitional: false,
    sourceOnce: false,
    strictEntries: false,
    choiceTypePrompt: true,
    needsLastLineFeed: true,
  },
  '7.3': {
    name: '7.3',
    optionKeyword: false,
    choiceHasValue: false,
    forgetsOutOfRange: false,
    emptyNumberIsZero: true,
    exactNotSet: true,
    notSetIsValue: true,
    looseComment: false,
    reportsBareName: true,
    endsEmptyMenu: true,
    conditionalDepends: true,
    transitional: true,
    sourceOnce: true,
    strictEntries: true,
    choiceTypePrompt: false,
    needsLastLineFeed: true,
  },
};

const folder = 'scripts/kconfig';

/** The files that `detectDialect` reads. */
export const dialectFiles: readonly string[] = [
  'parser.y',
  'symbol.c',
  'confdata.c',
  'util.c',
  'lexer.l',
].map((name) => `${folder}/${name}`);

/**
 * Looks at the program in the tree. A tree without it gets the newest rules.
 *
 * @returns `found` tells whether the program's sources were there
 */
export function detectDialect(files: TreeFiles): { readonly dialect: Dialect; readonly found: boolean } {
  const [parser, symbol, confdata, util, lexer] = dialectFiles.map((path) => files.read(path));
  if (parser === undefined || symbol === undefined || confdata === undefined) {
    return { dialect: dialects['7.3'], found: false };
  }
  const optionKeyword = parser.includes('T_OPTION ');
  const choiceHasValue = parser.includes('T_OPTIONAL');
  const transitional = parser.includes('T_TRANSITIONAL');
  const name = optionKeyword ? '5.10' : choiceHasValue ? '6.1' : transitional ? '7.3' : '6.12';
  const dialect: Dialect = {
    name,
    optionKeyword,
    choiceHasValue,
    forgetsOutOfRange: confdata.includes('sym_string_within_range'),
    emptyNumberIsZero: symbol.includes('"0x0"'),
    exactNotSet: confdata.includes('strcmp(p, "is not set")'),
    notSetIsValue: confdata.includes('val = "n"'),
    looseComment: !confdata.includes("line[1] != ' '"),
    reportsBareName: confdata.includes('conf_warning("unexpected data: %s", line)'),
    endsEmptyMenu: confdata.includes('end_check'),
    conditionalDepends: parser.includes('T_DEPENDS T_ON expr if_expr'),
    transitional,
    sourceOnce: util?.includes('repeated inclusion') === true,
    strictEntries: parser.includes('zconf_error("menuconfig statement without prompt")'),
    choiceTypePrompt: choiceHasValue || parser.includes('choice_option: T_BOOL'),
    needsLastLineFeed: lexer?.includes('if (current_buf)') === true,
  };
  return { dialect, found: true };
}
