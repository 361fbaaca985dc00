import type { Dialect } from './dialect.ts';
import type { ConfigSymbol } from './model.ts';

/** FNV-1a, 32 bits. */
function hashOf(name: string): number {
  let hash = 0x811c9dc5;
  for (let index = 0; index < name.length; index += 1) {
    hash = Math.imul(hash ^ ((name.charCodeAt(index) << 24) >> 24), 0x01000193);
  }
  return hash >>> 0;
}

/** The order in which the program goes through its table of symbols: bucket by bucket, in each the newest first. */
export function inTableOrder(
  symbols: readonly ConfigSymbol[],
  { choiceHasValue }: Dialect,
): readonly ConfigSymbol[] {
  const buckets = choiceHasValue ? 9973 : 1 << 14;
  return symbols
    .map((symbol) => ({ symbol, bucket: hashOf(symbol.name) % buckets }))
    .sort((one, other) => one.bucket - other.bucket || other.symbol.id - one.symbol.id)
    .map(({ symbol }) => symbol);
}
