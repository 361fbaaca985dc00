/** A hunk that does not fit, shown beside the lines of the file that it was most likely made for. */
import { linesOf, type Place } from './apply-hunks.ts';
import type { Hunk } from './read-hunk.ts';

/** Lines of either side, and columns of the left one. */
const mostLines = 16;
const widest = 48;
/** A line that stands in more places than this tells nothing about where a hunk belongs. */
const mostPlaces = 32;

/**
 * @param places of the hunks of this file, of which `nth` has none
 * @returns one text of several lines: the hunk's on the left, the file's on the right, `≠` between those that differ
 */
export function showMisfit(
  text: string,
  hunks: readonly Hunk[],
  nth: number,
  places: readonly (Place | undefined)[],
): string {
  const hunk = hunks[nth];
  if (!hunk) return '';
  const lines = linesOf(text);
  const wanted = hunk.lines.filter(({ kind }) => kind !== 'added').map((line) => line.text);
  const drift = places.slice(0, nth).findLast((place) => place)?.offset ?? 0;
  const start = likelyPlace(lines, wanted, hunk.oldStart - 1 + drift);
  const differing = wanted.findIndex((line, at) => lines[start + at] !== line);
  // as much before the first difference as gives a person something to hold on to
  const from = Math.max(0, Math.min(differing - 4, wanted.length - mostLines));
  const shown = wanted.slice(from, from + mostLines).map((line, at) => {
    const there = lines[start + from + at];
    const mark = there === line ? ' ' : '≠';
    return `${column(line)} ${mark} ${there === undefined ? '(end of the file)' : cut(there)}`.trimEnd();
  });
  const head = `${'the hunk expects'.padEnd(widest)}   line ${start + from + 1} of the file on`;
  return [head, ...shown].join('\n');
}

function cut(line: string): string {
  const plain = line.replace(/\n$/, '').replaceAll('\t', '    ').replace(/\r$/, '\\r');
  return plain.length > widest ? `${plain.slice(0, widest - 1)}…` : plain;
}

function column(line: string): string {
  return cut(line).padEnd(widest);
}

/** The place, from 0, at which most lines agree; of several the one nearest to `guess`. */
function likelyPlace(lines: readonly string[], wanted: readonly string[], guess: number): number {
  const known = new Set(wanted);
  const where = new Map<string, number[]>();
  for (const [at, line] of lines.entries()) {
    if (!known.has(line)) continue;
    const found = where.get(line) ?? [];
    if (found.length <= mostPlaces) found.push(at);
    where.set(line, found);
  }
  const votes = new Map<number, number>();
  for (const [at, line] of wanted.entries()) {
    const found = where.get(line) ?? [];
    if (found.length > mostPlaces) continue;
    for (const place of found) votes.set(place - at, (votes.get(place - at) ?? 0) + 1);
  }
  const last = Math.max(0, Math.min(guess, lines.length - 1));
  let best = { place: last, count: 0 };
  for (const [place, count] of votes) {
    const nearer = Math.abs(place - guess) < Math.abs(best.place - guess);
    if (place >= 0 && (count > best.count || (count === best.count && nearer))) best = { place, count };
  }
  return best.place;
}
