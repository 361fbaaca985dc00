/** The hunks of a unified diff (POSIX.1-2017, diff, "Diff -u Output Format"). */

export interface Line {
  readonly text: string;
  readonly start: number;
  readonly end: number;
}

export interface HunkLine {
  readonly kind: 'context' | 'removed' | 'added';
  /** With its line feed, unless the file ends without one. */
  readonly text: string;
}

export interface Hunk {
  /** Line of the old file that the first line is, from 1; 0 when it has none. */
  readonly oldStart: number;
  /** The same of the new file. */
  readonly newStart: number;
  readonly lines: readonly HunkLine[];
  /** Where its header is in the patch, in characters. */
  readonly start: number;
  readonly end: number;
}

/** Lines of one hunk, of which no text that a person reads has as many. */
const longestHunk = 1_000_000;

export function splitLines(text: string): readonly Line[] {
  const lines: Line[] = [];
  for (let start = 0; start < text.length;) {
    const at = text.indexOf('\n', start);
    const end = at < 0 ? text.length : at;
    lines.push({ text: text.slice(start, end), start, end });
    start = end + 1;
  }
  return lines;
}

export function isHunkHeader(line: Line): boolean {
  return line.text.startsWith('@@ -');
}

/**
 * @param crlf lines end with a carriage return that is none of theirs: the patch came by mail, or from another system
 * @returns what is wrong with it, or the hunk and where the patch goes on
 */
export function readHunk(
  lines: readonly Line[],
  at: number,
  crlf: boolean,
): { readonly hunk: Hunk; readonly next: number } | string {
  const header = lines[at];
  const numbers = /^@@ -(\d{1,9})(?:,(\d{1,9}))? \+(\d{1,9})(?:,(\d{1,9}))? @@/.exec(header?.text ?? '');
  if (!header || !numbers) return 'the line is no header of a hunk';
  let removed = Number(numbers[2] ?? 1);
  let added = Number(numbers[4] ?? 1);
  if (removed + added > longestHunk) return 'the hunk is longer than any text';
  const found: HunkLine[] = [];
  let position = at + 1;
  let end = header.end;
  for (; position < lines.length; position += 1) {
    const line = lines[position];
    if (!line) break;
    const text = crlf ? line.text.replace(/\r$/, '') : line.text;
    if (text.startsWith('\\')) {
      const last = found.pop();
      if (!last) return 'nothing stands before "\\ No newline at end of file"';
      found.push({ ...last, text: last.text.replace(/\n$/, '') });
      end = line.end;
      continue;
    }
    if (removed === 0 && added === 0) break;
    const kind = kindOf(text);
    if (kind === undefined) return 'the hunk is shorter than its header says';
    if (kind !== 'added') removed -= 1;
    if (kind !== 'removed') added -= 1;
    if (removed < 0 || added < 0) return 'the hunk has other lines than its header says';
    // a blank at the beginning of an empty line is easily lost on the way, and a tab may stand for it
    const content = text === '' || text.startsWith('\t') ? text : text.slice(1);
    found.push({ kind, text: `${content}\n` });
    end = line.end;
  }
  if (removed > 0 || added > 0) return 'it ends in the middle of a hunk';
  const hunk = {
    oldStart: Number(numbers[1]),
    newStart: Number(numbers[3]),
    lines: found,
    start: header.start,
    end,
  };
  return { hunk, next: position };
}

function kindOf(text: string): HunkLine['kind'] | undefined {
  switch (text[0]) {
    case undefined:
    case ' ':
    case '\t':
      return 'context';
    case '-':
      return 'removed';
    case '+':
      return 'added';
    default:
      return undefined;
  }
}

/** The hunk that takes back what this one does. */
export function reversedHunk(hunk: Hunk): Hunk {
  const other = { context: 'context', removed: 'added', added: 'removed' } as const;
  return {
    ...hunk,
    oldStart: hunk.newStart,
    newStart: hunk.oldStart,
    lines: hunk.lines.map(({ kind, text }) => ({ kind: other[kind], text })),
  };
}
