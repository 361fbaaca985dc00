/** Where lines stand in a file, in time that grows with the file and not with file times pattern. */

/** Comparisons that are left before it is given up: a hostile patch may have a million hunks for a million lines. */
export interface Effort {
  left: number;
}

/**
 * The places, from 0 and ascending, of `pattern` in `lines`, none before `from` (Knuth, Morris and Pratt, "Fast pattern
 * matching in strings", 1977). Ends early when the effort is used up.
 */
export function* occurrences(
  lines: readonly string[],
  pattern: readonly string[],
  from: number,
  effort: Effort,
): Generator<number> {
  const borders = bordersOf(pattern);
  effort.left -= pattern.length;
  let matched = 0;
  for (let at = from; at < lines.length && effort.left > 0; at += 1) {
    effort.left -= 1;
    while (matched > 0 && lines[at] !== pattern[matched]) matched = borders[matched - 1] ?? 0;
    if (lines[at] === pattern[matched]) matched += 1;
    if (matched === pattern.length) {
      yield at + 1 - matched;
      matched = borders[matched - 1] ?? 0;
    }
  }
}

/** Of each beginning of the pattern, how long the longest part is that it both begins and ends with. */
function bordersOf(pattern: readonly string[]): readonly number[] {
  const borders = [0];
  let length = 0;
  for (let at = 1; at < pattern.length; at += 1) {
    while (length > 0 && pattern[at] !== pattern[length]) length = borders[length - 1] ?? 0;
    if (pattern[at] === pattern[length]) length += 1;
    borders.push(length);
  }
  return borders;
}

/** Whether `pattern` stands at this place, from 0. */
export function standsAt(lines: readonly string[], pattern: readonly string[], place: number): boolean {
  return place >= 0 && pattern.every((text, index) => lines[place + index] === text);
}
