import { hashOf } from './draft.ts';
import type { ConfigSymbol } from './model.ts';

/**
 * Slots for the names of symbols: the slot of a name is where its hash leads, or the first free one behind that.
 *
 * @param names by index of symbol; constants have none
 * @returns in each slot the index of a symbol or -1; a power of two of them, half of them free at least
 */
export function placeNames(names: readonly (string | undefined)[]): Int32Array {
  let count = 2;
  while (count < 2 * names.length) count *= 2;
  const slots = new Int32Array(count).fill(-1);
  for (const [index, name] of names.entries()) {
    if (name === undefined) continue;
    let slot = firstSlot(name, count);
    while (slots[slot] !== -1) slot = nextSlot(slot, count);
    slots[slot] = index;
  }
  return slots;
}

function firstSlot(name: string, count: number): number {
  const hash = hashOf(name);
  return (hash ^ (hash >>> 15)) & (count - 1);
}

function nextSlot(slot: number, count: number): number {
  return (slot + 1) & (count - 1);
}

/** The symbols by name, found through slots; only who wants to see all of them waits until a map of them is made. */
export class SymbolNames implements ReadonlyMap<string, ConfigSymbol> {
  private readonly symbols: readonly ConfigSymbol[];
  private readonly slots: ArrayLike<number>;
  private whole: ReadonlyMap<string, ConfigSymbol> | undefined;

  /** @param slots as `placeNames` makes them; constants may have theirs */
  constructor(symbols: readonly ConfigSymbol[], slots: ArrayLike<number>) {
    this.symbols = symbols;
    this.slots = slots;
  }

  get(name: string): ConfigSymbol | undefined {
    const { symbols, slots } = this;
    for (let slot = firstSlot(name, slots.length); ; slot = nextSlot(slot, slots.length)) {
      const index = slots[slot] ?? -1;
      if (index < 0) return undefined;
      const symbol = symbols[index];
      if (symbol?.name === name) return symbol.constant ? undefined : symbol;
    }
  }

  has(name: string): boolean {
    return this.get(name) !== undefined;
  }

  get size(): number {
    return this.all().size;
  }

  forEach(use: (symbol: ConfigSymbol, name: string, map: ReadonlyMap<string, ConfigSymbol>) => void): void {
    for (const [name, symbol] of this.all()) use(symbol, name, this);
  }

  entries(): MapIterator<[string, ConfigSymbol]> {
    return this.all().entries();
  }

  keys(): MapIterator<string> {
    return this.all().keys();
  }

  values(): MapIterator<ConfigSymbol> {
    return this.all().values();
  }

  [Symbol.iterator](): MapIterator<[string, ConfigSymbol]> {
    return this.entries();
  }

  private all(): ReadonlyMap<string, ConfigSymbol> {
    this.whole ??= new Map(this.symbols.filter(({ constant }) => !constant).map((one) => [one.name, one]));
    return this.whole;
  }
}
