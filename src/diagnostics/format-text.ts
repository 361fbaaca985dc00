import type { Diagnostic, Severity, Span } from './diagnostic.ts';
import { indexLines, lineText, positionAt, type LineIndex } from './line-column.ts';
import { columnsOf, printable } from './printable.ts';

export interface TextStyle {
  /** ANSI colours; pass whether the stream is a terminal that wants them. */
  readonly color: boolean;
}

/** A source line longer than this is cut to a window around the place that is meant. */
const longestLine = 110;

const colors: Readonly<Record<Severity, string>> = { error: '31;1', warning: '33;1', note: '36;1' };

type Paint = (code: string, text: string) => string;

/** One character of a source line as it is shown, and whether the diagnostic means it. */
interface Cell {
  readonly shown: string;
  readonly width: number;
  readonly marked: boolean;
}

function cellsOf(text: string, marked: (offset: number) => boolean): Cell[] {
  const cells: Cell[] = [];
  let offset = 0;
  for (const character of text) {
    const shown = character === '\t' ? '    ' : printable(character);
    const width = shown.length > character.length ? shown.length : columnsOf(character);
    cells.push({ shown, width, marked: marked(offset) });
    offset += character.length;
  }
  return cells;
}

function totalWidth(cells: readonly Cell[]): number {
  return cells.reduce((sum, cell) => sum + cell.width, 0);
}

const gap: Cell = { shown: '…', width: 1, marked: false };

/** As many cells from the front as fit into `width` columns; a gap tells that there are more. */
function fitting(cells: readonly Cell[], width: number, more: boolean): Cell[] {
  let used = 0;
  const end = cells.findIndex((cell) => (used += cell.width) > width);
  const kept = end < 0 ? [...cells] : cells.slice(0, end);
  return end < 0 && !more ? kept : [...kept, gap];
}

/**
 * The cells of a line that are shown: as much of what stands before `start` as half a line holds, and what follows.
 * A line may be a megabyte long, so it is cut before it is taken apart.
 */
function shownCells(line: string, start: number, end: number): Cell[] {
  const half = longestLine / 2;
  const whole = line.length <= longestLine && printable(line).length <= longestLine;
  const from = whole ? 0 : Math.max(0, start - half);
  const before = cellsOf(line.slice(from, start), () => false);
  const after = cellsOf(line.slice(start, start + 2 * longestLine), (offset) => offset < end - start);
  const left = fitting(before.reverse(), whole ? longestLine : half, from > 0).reverse();
  return [...left, ...fitting(after, longestLine - totalWidth(left), line.length > start + 2 * longestLine)];
}

/** The source line with its number, and below it carets under what is meant. */
function excerpt(index: LineIndex, span: Span, severity: Severity, paint: Paint): string[] {
  const { line, column } = positionAt(index, span.start);
  const text = lineText(index, line);
  const start = Math.min(column - 1, text.length);
  const end = Math.max(start + 1, start + (span.end - span.start));
  const cells = shownCells(text, start, end);
  const margin = String(line).padStart(5);
  const firstMarked = cells.findIndex((cell) => cell.marked);
  const before = totalWidth(firstMarked < 0 ? cells : cells.slice(0, firstMarked));
  const under = Math.max(1, totalWidth(cells.filter((cell) => cell.marked)));
  return [
    `${paint('2', `${margin} |`)} ${cells.map((cell) => cell.shown).join('')}`.trimEnd(),
    `${paint('2', `${' '.repeat(margin.length)} |`)} ${' '.repeat(before)}${paint(colors[severity], '^'.repeat(under))}`,
  ];
}

/** A note or a help, its further lines below its first. */
function remark(label: string, text: string, paint: Paint): string[] {
  const [first = '', ...rest] = text.split('\n').map(printable);
  const indent = ' '.repeat(label.length + 4);
  return [`  ${paint('1', `${label}:`)} ${first}`, ...rest.map((line) => `${indent}${line}`)];
}

/**
 * Diagnostics as text for people: `file:line:column: error[code]: message`, the source line with what is meant
 * underlined, notes, help. Everything that comes from outside is made printable, so no text can drive the terminal.
 *
 * @param sources the text of each file that a span may name; a file that is not among them is named without a line
 * @returns one block per diagnostic, a blank line between them, a line break at the end; empty for no diagnostics
 */
export function formatText(
  diagnostics: readonly Diagnostic[],
  sources: ReadonlyMap<string, string>,
  { color }: TextStyle,
): string {
  const paint: Paint = (code, text) => (color ? `\u001b[${code}m${text}\u001b[0m` : text);
  const indexes = new Map<string, LineIndex>();
  for (const [file, text] of sources) indexes.set(file, indexLines(text));

  const block = ({ code, severity, message, span, notes, help }: Diagnostic): string => {
    const index = span && indexes.get(span.file);
    const position = index && positionAt(index, span.start);
    const place = position ? `:${position.line}:${position.column}` : '';
    const where = span ? `${printable(span.file)}${place}: ` : '';
    const lines = [
      `${paint('1', where)}${paint(colors[severity], `${severity}[${code}]`)}: ${printable(message)}`,
    ];
    if (index) lines.push(...excerpt(index, span, severity, paint));
    for (const note of notes) lines.push(...remark('note', note, paint));
    if (help !== undefined) lines.push(...remark('help', help, paint));
    return `${lines.join('\n')}\n`;
  };
  return diagnostics.map(block).join('\n');
}
