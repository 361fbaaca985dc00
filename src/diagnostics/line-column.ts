import type { Span } from './diagnostic.ts';

/** A place as people and editors name it. Both numbers start at 1; columns count UTF-16 code units. */
export interface Position {
  readonly line: number;
  readonly column: number;
}

/** Where each line of a text starts; made once per text, asked many times. */
export interface LineIndex {
  readonly text: string;
  /** Offset of the first character of each line, ascending; the first is 0. */
  readonly starts: readonly number[];
}

const lineBreak = /\r\n|\n|\r/g;

/** Finds the lines of `text`. A line ends with LF, CRLF or CR, as in YAML 1.2 (section 5.4). */
export function indexLines(text: string): LineIndex {
  const starts = [0];
  for (const match of text.matchAll(lineBreak)) starts.push(match.index + match[0].length);
  return { text, starts };
}

/** Line and column of `offset`; an offset outside the text is taken for its nearest end. */
export function positionAt({ text, starts }: LineIndex, offset: number): Position {
  const place = Math.min(Math.max(offset, 0), text.length);
  let low = 0;
  let high = starts.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >>> 1;
    if ((starts[middle] ?? 0) <= place) low = middle;
    else high = middle - 1;
  }
  return { line: low + 1, column: place - (starts[low] ?? 0) + 1 };
}

/** The text of line `line` (from 1) without its line break; empty when there is no such line. */
export function lineText({ text, starts }: LineIndex, line: number): string {
  const start = starts[line - 1];
  if (start === undefined) return '';
  return text.slice(start, starts[line] ?? text.length).replace(/[\r\n]+$/, '');
}

/** Line `line` (from 1) of a file as a place, without blanks around it; its beginning when there is nothing else in it. */
export function spanOfLine(file: string, text: string, line: number): Span | undefined {
  const index = indexLines(text);
  const first = index.starts[line - 1];
  if (first === undefined) return undefined;
  const written = lineText(index, line);
  const start = first + (written.length - written.trimStart().length);
  return { file, start, end: Math.max(start, first + written.trimEnd().length) };
}
