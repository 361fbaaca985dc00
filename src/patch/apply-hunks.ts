/**
 * Fitting hunks into a file, by the rules of GNU patch (`locate_hunk` and `apply_hunk` in src/patch.c of GNU patch 2.7.6),
 * since that is what the build applies them with: each hunk goes to the nearest place where all of its lines are, later
 * ones first where two are equally near; a hunk with less context before than behind that begins at line 1 fits the
 * beginning of the file alone, and one with less context behind the end alone.
 *
 * Fuzz is how many lines of context at either end need not be there (`patch -F`). GNU patch allows two where nothing is
 * said, git none. Here it is none as well: with fuzz a hunk may go to a wrong place, and nobody is told.
 */
import { occurrences, standsAt, type Effort } from './line-search.ts';
import { reversedHunk, type Hunk, type HunkLine } from './read-hunk.ts';

export interface Place {
  /** Line of the old file, from 1, that the hunk's first line stands at. */
  readonly line: number;
  /** How much further down than the hunk says. */
  readonly offset: number;
  readonly fuzz: number;
}

export interface Fitted {
  readonly text: string;
  /** Of each hunk; `undefined` for one that fits nowhere. */
  readonly places: readonly (Place | undefined)[];
}

/** Enough for five thousand hunks in a file of forty thousand lines; less than a second. */
const mostComparisons = 200_000_000;

export function newEffort(): Effort {
  return { left: mostComparisons };
}

/** Lines with their line feeds: the last one may have none. */
export function linesOf(text: string): readonly string[] {
  return text.match(/[^\n]*\n|[^\n]+$/g) ?? [];
}

export function fitsEverywhere({ places }: Fitted): boolean {
  return places.every((place) => place !== undefined);
}

interface Progress {
  readonly lines: readonly string[];
  /** Lines of the old file that are written and done with. */
  frozen: number;
  /** How much further down than they say the hunks have been found. */
  offset: number;
  readonly effort: Effort;
}

/** @param fuzz how much is allowed */
export function applyHunks(
  text: string,
  hunks: readonly Hunk[],
  fuzz = 0,
  effort: Effort = newEffort(),
): Fitted {
  const progress: Progress = { lines: linesOf(text), frozen: 0, offset: 0, effort };
  const places: (Place | undefined)[] = [];
  const output: string[] = [];
  const write = (line: string): void => {
    // behind a last line without a line feed there is one after all when something follows
    if (output.length > 0 && !output.at(-1)?.endsWith('\n')) output.push('\n');
    output.push(line);
  };
  const copyUntil = (end: number): void => {
    for (; progress.frozen < end; progress.frozen += 1) write(progress.lines[progress.frozen] ?? '');
  };
  for (const [index, hunk] of hunks.entries()) {
    const place = locateWithFuzz(hunk, progress, fuzz, index === 0);
    // the file is left alone as a whole then
    if (place === 'applied') return { text, places: hunks.map(() => undefined) };
    places.push(place);
    if (!place) continue;
    let old = place.line - 1;
    for (const line of hunk.lines) {
      if (line.kind === 'context') {
        old += 1;
        continue;
      }
      copyUntil(old);
      if (line.kind === 'added') write(line.text);
      else {
        old += 1;
        progress.frozen = old;
      }
    }
  }
  copyUntil(progress.lines.length);
  return { text: output.join(''), places };
}

/** Whether the hunks would apply backwards: then the patch has been applied before. */
export function isApplied(text: string, hunks: readonly Hunk[], effort: Effort = newEffort()): boolean {
  return hunks.length > 0 && fitsEverywhere(applyHunks(text, hunks.map(reversedHunk), 0, effort));
}

/** With fuzz the first hunk might fit once more where it is already: GNU patch looks for that first. */
function locateWithFuzz(
  hunk: Hunk,
  progress: Progress,
  most: number,
  isFirst: boolean,
): Place | 'applied' | undefined {
  const context = Math.max(contextLength(hunk.lines), contextLength(hunk.lines.toReversed()));
  for (let fuzz = 0; fuzz <= Math.min(most, context); fuzz += 1) {
    const before = progress.offset;
    const line = locate(hunk, progress, fuzz);
    if (line !== undefined) return { line, offset: progress.offset, fuzz };
    progress.offset = before;
    const applied = isFirst && most > 0 && locate(reversedHunk(hunk), progress, fuzz) !== undefined;
    progress.offset = before;
    if (applied) return 'applied';
  }
  return undefined;
}

/** The line, from 1, at which the hunk fits with so much fuzz. */
function locate(hunk: Hunk, progress: Progress, fuzz: number): number | undefined {
  const pattern = hunk.lines.filter(({ kind }) => kind !== 'added').map(({ text }) => text);
  const { lines, frozen, effort } = progress;
  // a hunk without old lines names the line that it goes behind
  const first = hunk.oldStart + (pattern.length === 0 ? 1 : 0);
  const guess = first + progress.offset;
  // and goes to the end when there is no such line any more
  if (pattern.length === 0) return guess > frozen ? Math.min(guess, lines.length + 1) : undefined;
  const before = contextLength(hunk.lines);
  const behind = contextLength(hunk.lines.toReversed());
  const context = Math.max(before, behind);
  const fuzzBefore = fuzz + before - context;
  const fuzzBehind = fuzz + behind - context;
  const skipped = Math.max(0, fuzzBefore);
  const certain = pattern.slice(skipped, pattern.length - Math.max(0, fuzzBehind));
  const lowest = frozen + 1;
  const highest = lines.length - (pattern.length - fuzzBehind) + 1;
  const found = search();
  if (found !== undefined) progress.offset += found - guess;
  return found !== undefined && found > frozen ? found : undefined;

  function fits(line: number): boolean {
    effort.left -= certain.length;
    return line >= 1 && standsAt(lines, certain, line - 1 + skipped);
  }

  function search(): number | undefined {
    if (fuzzBefore < 0 && first <= 1) return frozen <= before && fits(1) ? 1 : undefined;
    if (fuzzBehind < 0) {
      const last = lines.length - pattern.length + 1;
      return last >= lowest && fits(last) ? last : undefined;
    }
    // lines that are done with are looked at, too, when the hunk names them, and refused when it fits there
    if (guess < lowest) return nearest(2 * guess - lowest, 2 * guess - lowest);
    if (guess <= highest && fits(guess)) return guess;
    return nearest(lowest, guess);
  }

  /** Of the places from `from` on, the one nearest to `to`. */
  function nearest(from: number, to: number): number | undefined {
    let best: number | undefined;
    const start = Math.max(1, from);
    for (const place of occurrences(lines, certain, start - 1 + skipped, effort)) {
      const line = place + 1 - skipped;
      if (line > highest) break;
      if (best === undefined || Math.abs(line - to) <= Math.abs(best - to)) best = line;
      else break;
    }
    return best;
  }
}

function contextLength(lines: readonly HunkLine[]): number {
  const at = lines.findIndex(({ kind }) => kind !== 'context');
  return at < 0 ? lines.length : at;
}
