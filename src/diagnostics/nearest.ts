/** Words longer than this are no slips of a hand, and the table below grows with the square of the length. */
const longestWord = 80;

/**
 * Damerau–Levenshtein distance in its restricted form (optimal string alignment): how many insertions, deletions,
 * replacements and swaps of neighbours turn `left` into `right`, when no part is edited twice.
 */
export function distance(left: string, right: string): number {
  let before: number[] = [];
  let above = Array.from({ length: right.length + 1 }, (_, column) => column);
  for (let row = 1; row <= left.length; row += 1) {
    const current = [row];
    for (let column = 1; column <= right.length; column += 1) {
      const same = left[row - 1] === right[column - 1];
      let least = Math.min(
        (above[column] ?? 0) + 1,
        (current[column - 1] ?? 0) + 1,
        (above[column - 1] ?? 0) + (same ? 0 : 1),
      );
      const swapped = left[row - 1] === right[column - 2] && left[row - 2] === right[column - 1];
      if (row > 1 && column > 1 && swapped) least = Math.min(least, (before[column - 2] ?? 0) + 1);
      current.push(least);
    }
    before = above;
    above = current;
  }
  return above[right.length] ?? 0;
}

/** Case and the three usual separators are the commonest slips: they count for nothing here, only between equals. */
function folded(word: string): string {
  return word.toLowerCase().replace(/[-_.]/g, '_');
}

/** One slip in a short word, one in three characters in a longer one; nothing is near a single character. */
function allowance(word: string): number {
  return word.length < 2 ? 0 : Math.max(1, Math.floor(word.length / 3));
}

/**
 * The candidate that was most likely meant by `word`, or `undefined` when none is near. Of candidates equally near
 * the one with fewer differences in case and separators wins, then the earlier one. A word that begins a candidate,
 * or begins with one (three characters at least), is near as well: `config` for `configuration`.
 */
export function nearest(word: string, candidates: Iterable<string>): string | undefined {
  if (word === '' || word.length > longestWord) return undefined;
  const meant = folded(word);
  const most = allowance(meant);
  let best: { readonly candidate: string; readonly rank: readonly [number, number] } | undefined;
  let extension: string | undefined;
  for (const candidate of candidates) {
    const name = folded(candidate);
    const shorter = Math.min(name.length, meant.length);
    if (shorter >= 3 && (name.startsWith(meant) || meant.startsWith(name))) extension ??= candidate;
    if (Math.abs(name.length - meant.length) > most) continue;
    const far = distance(meant, name);
    if (far > most || far > (best?.rank[0] ?? most)) continue;
    const rank = [far, distance(word, candidate)] as const;
    if (!best || far < best.rank[0] || rank[1] < best.rank[1]) best = { candidate, rank };
  }
  return best?.candidate ?? extension;
}
