/** A model while it is being put together: the records of `model.ts`, open for writing. */
import type {
  ChoiceDefault,
  ConfigSymbol,
  Default,
  Dependency,
  Expr,
  HelpSpan,
  Prompt,
  Range,
  Selection,
} from './model.ts';
import type { NodeKind, SymbolType } from './rules.ts';

export interface DraftNode {
  readonly id: number;
  readonly kind: NodeKind;
  readonly file: string;
  readonly line: number;
  readonly parent: DraftNode | undefined;
  children: readonly DraftNode[];
  readonly symbol: DraftSymbol | undefined;
  readonly choice: DraftChoice | undefined;
  prompt: Prompt | undefined;
  dependencies: readonly Dependency[];
  visibleIf: readonly Expr[];
  help: HelpSpan | undefined;
}

export interface DraftSymbol {
  readonly id: number;
  readonly name: string;
  readonly constant: boolean;
  type: SymbolType;
  nodes: readonly DraftNode[];
  prompts: readonly Prompt[];
  defaults: readonly Default[];
  ranges: readonly Range[];
  selects: readonly Selection[];
  implies: readonly Selection[];
  selectedBy: readonly Selection[];
  impliedBy: readonly Selection[];
  choice: DraftChoice | undefined;
  allnoconfigY: boolean;
  transitional: boolean;
}

export interface DraftChoice {
  readonly id: number;
  readonly name: string | undefined;
  type: SymbolType;
  optional: boolean;
  nodes: readonly DraftNode[];
  prompts: readonly Prompt[];
  defaults: readonly ChoiceDefault[];
  members: readonly ConfigSymbol[];
}

/** Shared by all lists that stay empty: most do, and there are eight to a symbol. */
const none: readonly never[] = [];

export function emptyList<T>(): readonly T[] {
  return none;
}

/** Appends, in place once a list is long: short ones are most of a model, and take no more room than they need. */
export function append<T>(list: readonly T[], item: T): readonly T[] {
  const first = list[0];
  const second = list[1];
  switch (list.length) {
    case 0:
      return [item];
    case 1:
      return first === undefined ? [item] : [first, item];
    case 2:
      return first === undefined || second === undefined ? [item] : [first, second, item];
    default:
      (list as T[]).push(item);
      return list;
  }
}

/** The hash that `SymbolTable.find` goes by, one character after the other. */
export function hashStep(hash: number, code: number): number {
  return (Math.imul(hash, 31) + code) | 0;
}

export function hashOf(text: string): number {
  let hash = 0;
  for (let index = 0; index < text.length; index += 1) hash = hashStep(hash, text.charCodeAt(index));
  return hash;
}

/**
 * The symbols of a model in order of first mention; constants and names are apart, but for y, m and n. A name is looked
 * up where it stands in the text, so that no string is made for each of a hundred thousand mentions.
 */
export class SymbolTable {
  readonly symbols: DraftSymbol[] = [];
  private readonly constants = new Map<string, DraftSymbol>();
  private readonly leaves: (Expr | undefined)[] = [];
  /** Open addressing: the index of a symbol, -1 where there is none. */
  slots: Int32Array = new Int32Array(1 << 16).fill(-1);
  private count = 0;

  constructor() {
    for (const name of ['n', 'm', 'y']) {
      const symbol = this.add(name, true, 'tristate');
      this.constants.set(name, symbol);
      this.slots[this.slotOf(name, 0, name.length, hashOf(name))] = symbol.id;
      this.count += 1;
    }
  }

  /** The symbol that a word names. */
  named(name: string): DraftSymbol {
    return this.find(name, 0, name.length, hashOf(name));
  }

  /** The same for a word that stands in a text. */
  find(text: string, start: number, end: number, hash: number): DraftSymbol {
    const slot = this.slotOf(text, start, end, hash);
    const index = this.slots[slot] ?? -1;
    const known = index < 0 ? undefined : this.symbols[index];
    if (known) return known;
    const symbol = this.add(text.slice(start, end), false, 'unknown');
    this.slots[slot] = symbol.id;
    this.count += 1;
    if (this.count * 2 > this.slots.length) this.grow();
    return symbol;
  }

  /** The constant that stands in quotes. */
  constant(text: string): DraftSymbol {
    const known = this.constants.get(text);
    if (known) return known;
    const symbol = this.add(text, true, 'unknown');
    this.constants.set(text, symbol);
    return symbol;
  }

  /** The expression that is this symbol alone, one for all places. */
  leaf(symbol: DraftSymbol): Expr {
    const known = this.leaves[symbol.id];
    if (known) return known;
    const leaf: Expr = { kind: 'symbol', symbol };
    this.leaves[symbol.id] = leaf;
    return leaf;
  }

  private slotOf(text: string, start: number, end: number, hash: number): number {
    const { slots, symbols } = this;
    const mask = slots.length - 1;
    for (let slot = (hash ^ (hash >>> 15)) & mask; ; slot = (slot + 1) & mask) {
      const index = slots[slot] ?? -1;
      if (index < 0) return slot;
      const name = symbols[index]?.name ?? '';
      if (name.length === end - start && text.startsWith(name, start)) return slot;
    }
  }

  private grow(): void {
    const old = this.slots;
    this.slots = new Int32Array(old.length * 2).fill(-1);
    for (const index of old) {
      const name = index < 0 ? undefined : this.symbols[index]?.name;
      if (name !== undefined) this.slots[this.slotOf(name, 0, name.length, hashOf(name))] = index;
    }
  }

  private add(name: string, constant: boolean, type: SymbolType): DraftSymbol {
    const symbol: DraftSymbol = {
      id: this.symbols.length,
      name,
      constant,
      type,
      nodes: none,
      prompts: none,
      defaults: none,
      ranges: none,
      selects: none,
      implies: none,
      selectedBy: none,
      impliedBy: none,
      choice: undefined,
      allnoconfigY: false,
      transitional: false,
    };
    this.symbols.push(symbol);
    this.leaves.push(undefined);
    return symbol;
  }
}
