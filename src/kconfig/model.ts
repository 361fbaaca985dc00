/**
 * What the Kconfig files of a tree say, as plain records: a table of symbols, the menu tree, the choices. A model holds
 * no values; `evaluation.ts` gives it those. It is made by `parse-tree.ts` or read back by `model-store.ts`.
 *
 * Texts are latin1 inside (one character per byte), lines count from 1.
 */
import type { Dialect } from './dialect.ts';
import type { Comparison, NodeKind, Rules, SymbolType } from './rules.ts';

/** n, m, y: the order of the numbers is the order of the values, so that `&&` is the minimum and `||` the maximum. */
export type Tristate = 0 | 1 | 2;

export interface Place {
  /** Relative to the root of the tree, as the `source` line names it. */
  readonly file: string;
  /** @asType integer */
  readonly line: number;
}

/**
 * A condition. `and` and `or` have two operands at least. `modular` is a literal `m` that stands as a condition by
 * itself: it is `m && MODULES`, so n without modules. A literal `m` that is compared or is a default stays a symbol.
 */
export type Expr =
  | { readonly kind: 'symbol'; readonly symbol: ConfigSymbol }
  | { readonly kind: 'modular' }
  | { readonly kind: 'not'; readonly operand: Expr }
  | { readonly kind: 'and' | 'or'; readonly operands: readonly Expr[] }
  | {
      readonly kind: 'compare';
      readonly operator: Comparison;
      readonly left: ConfigSymbol;
      readonly right: ConfigSymbol;
    };

/** One attribute line. It holds where its own condition and all dependencies of its node hold. */
export interface Property extends Place {
  readonly node: MenuNode;
  /** What stands after `if`. */
  readonly condition: Expr | undefined;
}

/** `prompt "…"`, or the text that stands with a type, a menu or a comment. */
export interface Prompt extends Property {
  readonly text: string;
}

export interface Default extends Property {
  readonly value: Expr;
}

/** One `select` or `imply`. */
export interface Selection extends Property {
  readonly selector: ConfigSymbol;
  readonly target: ConfigSymbol;
}

export interface Range extends Property {
  readonly low: ConfigSymbol;
  readonly high: ConfigSymbol;
}

/** `default MEMBER` of a choice. */
export interface ChoiceDefault extends Property {
  readonly member: ConfigSymbol;
}

/** One `depends on` line, or the condition of an `if` block. */
export interface Dependency extends Place {
  /** What has to hold; of `depends on X if Y` it is `X`, weakened to hold wherever `Y` is n. */
  readonly expr: Expr;
  /** `X` and `Y` as they stand, when there is an `if`. */
  readonly conditional: { readonly needs: Expr; readonly when: Expr } | undefined;
}

/** Where a help text stands in its file; `helpText` cuts it out. */
export interface HelpSpan {
  readonly start: number;
  readonly end: number;
}

/** An entry of a Kconfig file, where the file has it. */
export interface MenuNode extends Place {
  /** Its index in `Model.nodes`. */
  readonly id: number;
  readonly kind: NodeKind;
  /** The enclosing menu, `if`, choice or root. */
  readonly parent: MenuNode | undefined;
  readonly children: readonly MenuNode[];
  /** Of `config` and `menuconfig`. */
  readonly symbol: ConfigSymbol | undefined;
  /** Of `choice`. */
  readonly choice: Choice | undefined;
  /** The last one when there are several. */
  readonly prompt: Prompt | undefined;
  /** Its own; those of `parent` hold as well. */
  readonly dependencies: readonly Dependency[];
  /** `visible if` of a menu: holds for the prompts in it, not for the menus and comments in it. */
  readonly visibleIf: readonly Expr[];
  readonly help: HelpSpan | undefined;
}

export interface ConfigSymbol {
  /** Its index in `Model.symbols`. */
  readonly id: number;
  readonly name: string;
  /** `y`, `m`, `n`, or in quotes: it is its own value. */
  readonly constant: boolean;
  /** `unknown` when it is constant, or nothing defines it. */
  readonly type: SymbolType;
  /** Its definitions, in the order of the text. The attributes below are of all of them together, in that order. */
  readonly nodes: readonly MenuNode[];
  readonly prompts: readonly Prompt[];
  readonly defaults: readonly Default[];
  readonly ranges: readonly Range[];
  readonly selects: readonly Selection[];
  readonly implies: readonly Selection[];
  readonly selectedBy: readonly Selection[];
  readonly impliedBy: readonly Selection[];
  /** The choice that it is a member of. */
  readonly choice: Choice | undefined;
  /** `option allnoconfig_y` of 5.10: `allnoconfig` sets it to y. */
  readonly allnoconfigY: boolean;
  /** It stands only for the value that an older `.config` has, and is never written. */
  readonly transitional: boolean;
}

export interface Choice {
  /** Its index in `Model.choices`. */
  readonly id: number;
  /** Older trees may name a choice, and then continue it elsewhere. */
  readonly name: string | undefined;
  readonly type: SymbolType;
  /** No member needs to be y. */
  readonly optional: boolean;
  readonly nodes: readonly MenuNode[];
  readonly prompts: readonly Prompt[];
  readonly defaults: readonly ChoiceDefault[];
  readonly members: readonly ConfigSymbol[];
}

export interface Model {
  readonly dialect: Dialect;
  /** In order of first mention. The first three are the constants n, m, y: their index is their value. */
  readonly symbols: readonly ConfigSymbol[];
  /** The symbols that are not constant, by name. */
  readonly byName: ReadonlyMap<string, ConfigSymbol>;
  /** In the order of the text; the first is the root. A parent stands before its children. */
  readonly nodes: readonly MenuNode[];
  readonly choices: readonly Choice[];
  /** The same in columns of numbers. */
  readonly rules: Rules;
  /** The symbol that says whether there are modules. */
  readonly modules: ConfigSymbol | undefined;
  /** `option defconfig_list` of 5.10: its defaults name the files to start from; it is never written. */
  readonly defconfigList: ConfigSymbol | undefined;
  /** The title that heads a `.config`. */
  readonly mainMenu: string;
  /**
   * Symbols and choices, each after all that its value rests on (as far as there is no circle): the index of a symbol,
   * or the complement (`~`) of the index of a choice.
   */
  readonly order: Int32Array;
  /** Another such order, for a configuration that has just been read, where the two make a difference. */
  readonly readingOrder: Int32Array | undefined;
  /** Every file that was read, in order of first mention. */
  readonly files: readonly string[];
}
