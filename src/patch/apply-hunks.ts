/**
 * Fitting hunks into a file, by the rules of GNU patch with no fuzz (`patch -F0`; `locate_hunk` and `apply_hunk` in
 * src/patch.c of GNU patch 2.7.6), since that is what the build applies them with: each hunk goes to the nearest place
 * where all of its lines are, later ones first where two are equally near; a hunk with less context before than behind
 * that begins at line 1 fits the beginning of the file alone, and one with less context behind the end alone.
 */
import type { Hunk, HunkLine } from './parse-patch.ts';

export interface Fitted {
  readonly text: string;
  /** Indexes of hunks that fit nowhere. */
  readonly failed: readonly number[];
}

/** Lines with their line feeds: the last one may have none. */
function linesOf(text: string): readonly string[] {
  return text.match(/[^\n]*\n|[^\n]+$/g) ?? [];
}

interface Progress {
  readonly lines: readonly string[];
  /** Lines of the old file that are written and done with. */
  frozen: number;
  /** How much further down than they say the hunks have been found. */
  offset: number;
}

export function applyHunks(text: string, hunks: readonly Hunk[]): Fitted {
  const progress: Progress = { lines: linesOf(text), frozen: 0, offset: 0 };
  const failed: number[] = [];
  let output = '';
  const write = (line: string): void => {
    // behind a last line without a line feed there is one after all when something follows
    output += output === '' || output.endsWith('\n') ? line : `\n${line}`;
  };
  const copyUntil = (end: number): void => {
    for (; progress.frozen < end; progress.frozen += 1) write(progress.lines[progress.frozen] ?? '');
  };
  for (const [index, hunk] of hunks.entries()) {
    const where = locate(hunk, progress);
    if (where === undefined) {
      failed.push(index);
      continue;
    }
    let old = where - 1;
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
  return { text: output, failed };
}

/** Whether the hunks would apply backwards: then the patch has been applied before. */
export function isApplied(text: string, hunks: readonly Hunk[]): boolean {
  return hunks.length > 0 && applyHunks(text, hunks.map(reversed)).failed.length === 0;
}

function reversed(hunk: Hunk): Hunk {
  const other = { context: 'context', removed: 'added', added: 'removed' } as const;
  return { ...hunk, lines: hunk.lines.map(({ kind, text }) => ({ kind: other[kind], text })) };
}

/** The line, from 1, at which the hunk fits. */
function locate(hunk: Hunk, progress: Progress): number | undefined {
  const pattern = hunk.lines.filter(({ kind }) => kind !== 'added').map(({ text }) => text);
  const { lines, frozen } = progress;
  // a hunk without old lines names the line that it goes behind
  const first = hunk.oldStart + (pattern.length === 0 ? 1 : 0);
  const guess = first + progress.offset;
  // and goes to the end when there is no such line any more
  if (pattern.length === 0) return guess > frozen ? Math.min(guess, lines.length + 1) : undefined;
  const before = contextLength(hunk.lines);
  const behind = contextLength(hunk.lines.toReversed());
  const found = search();
  if (found !== undefined) progress.offset += found - guess;
  return found;

  function fits(line: number): boolean {
    return line >= 1 && pattern.every((text, index) => lines[line - 1 + index] === text);
  }

  function search(): number | undefined {
    const last = lines.length - pattern.length + 1;
    if (before < behind && first <= 1) return frozen <= before && fits(1) ? 1 : undefined;
    if (behind < before) return last > frozen && fits(last) ? last : undefined;
    const furthest = Math.max(last - guess, guess - frozen - 1);
    for (let distance = 0; distance <= furthest; distance += 1) {
      if (guess + distance <= last && guess + distance > frozen && fits(guess + distance)) {
        return guess + distance;
      }
      if (distance > 0 && guess - distance > frozen && guess - distance <= last && fits(guess - distance)) {
        return guess - distance;
      }
    }
    return undefined;
  }
}

function contextLength(lines: readonly HunkLine[]): number {
  const at = lines.findIndex(({ kind }) => kind !== 'context');
  return at < 0 ? lines.length : at;
}
