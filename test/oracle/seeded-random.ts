/** Random numbers that are the same for the same seed: mulberry32 (32 bits of state), good enough to vary tests. */
export interface SeededRandom {
  /** A whole number from 0 up to but not including `limit`. */
  below(limit: number): number;
  /** One of these. */
  pick<T>(items: readonly T[]): T;
  /** Whether something that happens once in `times` happens. */
  once(times: number): boolean;
}

export function seededRandom(seed: number): SeededRandom {
  let state = Math.imul(seed, 0x9e3779b1) >>> 0;
  const next = (): number => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
  const below = (limit: number): number => Math.floor(next() * limit);
  return {
    below,
    pick: (items) => {
      const picked = items[below(items.length)];
      if (picked === undefined) throw new RangeError('there is nothing to pick from');
      return picked;
    },
    once: (times) => below(times) === 0,
  };
}
