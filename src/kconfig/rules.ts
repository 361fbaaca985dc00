/**
 * What a model says as columns of numbers, with a row for each symbol, entry, attribute line and condition: what
 * evaluation goes by. Most of it runs once in a process, before it is compiled, and going through columns takes about half
 * of the time then that going through the records of a kept model does.
 */
export type Column = Int8Array | Int16Array | Int32Array;

export type SymbolType = 'unknown' | 'bool' | 'tristate' | 'int' | 'hex' | 'string';
export type NodeKind = 'root' | 'menu' | 'if' | 'comment' | 'config' | 'menuconfig' | 'choice';
export type Comparison = '=' | '!=' | '<' | '<=' | '>' | '>=';
/** What conditions are, and by what those compare that do. */
export type Operator = 'symbol' | 'modular' | 'not' | 'and' | 'or' | Comparison;

/** The codes of the columns `type`, `kind` and `operator` are indexes in these. */
export const types: readonly SymbolType[] = ['unknown', 'bool', 'tristate', 'int', 'hex', 'string'];
export const kinds: readonly NodeKind[] = ['root', 'menu', 'if', 'comment', 'config', 'menuconfig', 'choice'];
export const operators: readonly Operator[] = [
  'symbol',
  'modular',
  'not',
  'and',
  'or',
  '=',
  '!=',
  '<',
  '<=',
  '>',
  '>=',
];

type Codes<T extends string> = Readonly<Record<T, number>>;

function codesOf<T extends string>(names: readonly T[]): Codes<T> {
  return Object.fromEntries(names.map((name, code) => [name, code])) as Codes<T>;
}

export const typeCodes: Codes<SymbolType> = codesOf(types);
export const kindCodes: Codes<NodeKind> = codesOf(kinds);
export const operatorCodes: Codes<Operator> = codesOf(operators);

/** Bits of `flags`: the first ones of symbols, the last one of choices. */
export const constant = 1;
export const allnoconfigY = 2;
export const transitional = 4;
export const optional = 1;

/** Lines that hold where the dependencies of `node` hold, and `condition` if it is not -1. */
export interface PropertyColumns {
  readonly node: Column;
  readonly condition: Column;
}

/**
 * Columns that are named like a table say where the rows of that table end that belong to this one; they begin where
 * those of the row before end. Others hold the row of a symbol, choice, entry or condition, or -1 for none.
 */
export interface Rules {
  readonly symbols: {
    readonly type: Column;
    readonly flags: Column;
    readonly choice: Column;
    /** Ends in `symbolNodes`. */
    readonly nodes: Column;
    readonly prompts: Column;
    readonly defaults: Column;
    readonly ranges: Column;
    /** Ends in `selects`. */
    readonly selectedBy: Column;
    /** Ends in `implies`. */
    readonly impliedBy: Column;
  };
  readonly symbolNodes: { readonly node: Column };
  readonly prompts: PropertyColumns;
  readonly defaults: PropertyColumns & { readonly value: Column };
  readonly ranges: PropertyColumns & { readonly low: Column; readonly high: Column };
  /** The one that selects is that of the entry. */
  readonly selects: PropertyColumns;
  readonly implies: PropertyColumns;
  readonly choices: {
    readonly type: Column;
    readonly flags: Column;
    /** Ends in `choicePrompts`. */
    readonly prompts: Column;
    /** Ends in `choiceDefaults`. */
    readonly defaults: Column;
    readonly members: Column;
  };
  readonly choicePrompts: PropertyColumns;
  readonly choiceDefaults: PropertyColumns & { readonly member: Column };
  readonly members: { readonly symbol: Column };
  readonly nodes: {
    readonly kind: Column;
    readonly parent: Column;
    readonly symbol: Column;
    readonly choice: Column;
    readonly dependencies: Column;
    readonly visibleIf: Column;
  };
  /** The texts of menus and comments, in the order of those. */
  readonly titles: PropertyColumns;
  /** `needs` and `when` are for whoever explains: what has to hold is `expr`. */
  readonly dependencies: { readonly expr: Column; readonly needs: Column; readonly when: Column };
  readonly visibleIf: { readonly expr: Column };
  /** Conditions, each after those that it is made of; a condition that stands in several places has one row. */
  readonly exprs: { readonly operator: Column; readonly operands: Column };
  /** Symbols or conditions, as the operator has it. */
  readonly operands: { readonly row: Column };
}

/** Where the rows begin that end at `ends[row]`. */
export function startOf(ends: Column, row: number): number {
  return row === 0 ? 0 : (ends[row - 1] ?? 0);
}

/** The members of a choice, in the order of the text. */
export function membersOf({ choices, members }: Rules, choice: number): number[] {
  const found: number[] = [];
  const end = choices.members[choice] ?? 0;
  for (let row = startOf(choices.members, choice); row < end; row += 1) found.push(members.symbol[row] ?? 0);
  return found;
}
