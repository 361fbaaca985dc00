/**
 * Reading patches: unified diffs (POSIX.1-2017, diff, "Diff -u Output Format") with what git adds ("Generating patch
 * text with -p" in git-diff(1)), and any text around them, as mails have it. Lenient where GNU patch is: what the build
 * applies must be read here as it is there.
 */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { patchCodes } from './codes.ts';

export interface HunkLine {
  readonly kind: 'context' | 'removed' | 'added';
  /** With its line feed, unless the file ends without one. */
  readonly text: string;
}

export interface Hunk {
  /** Line of the old file that the first line is, from 1; 0 when it has none. */
  readonly oldStart: number;
  readonly lines: readonly HunkLine[];
  /** Where its header is in the patch, in characters. */
  readonly start: number;
  readonly end: number;
}

export interface FilePatch {
  /** Paths without their first part (`patch -p1`); `undefined` for a file that is not there before, or after. */
  readonly oldPath: string | undefined;
  readonly newPath: string | undefined;
  /** Git says that the file comes out of the one at `oldPath`, which stays when it is a copy. */
  readonly from: 'rename' | 'copy' | undefined;
  /** Whether the file may be executed afterwards, where the patch says. */
  readonly executable: boolean | undefined;
  readonly binary: boolean;
  readonly hunks: readonly Hunk[];
  readonly start: number;
  readonly end: number;
}

export interface ParsedPatch {
  readonly files: readonly FilePatch[];
  readonly diagnostics: readonly Diagnostic[];
}

interface Line {
  readonly text: string;
  readonly start: number;
  readonly end: number;
}

interface Draft {
  oldPath: string | undefined;
  newPath: string | undefined;
  from: FilePatch['from'];
  executable: boolean | undefined;
  binary: boolean;
  created: boolean;
  deleted: boolean;
  hunks: Hunk[];
  start: number;
  end: number;
}

/** Lines of one hunk, of which no text that a person reads has as many. */
const longestHunk = 1_000_000;

/**
 * @param name of the patch, for diagnostics, whose spans are in its text
 * @param text in latin1: a patch holds bytes of no stated encoding
 */
export function parsePatch(name: string, text: string): ParsedPatch {
  const lines = splitLines(text);
  const files: FilePatch[] = [];
  const diagnostics: Diagnostic[] = [];
  let draft: Draft | undefined;
  const finish = (): void => {
    if (
      draft &&
      (draft.hunks.length > 0 ||
        draft.from ||
        draft.executable !== undefined ||
        draft.binary ||
        draft.created ||
        draft.deleted)
    ) {
      files.push(finished(draft));
    }
    draft = undefined;
  };
  for (let at = 0; at < lines.length;) {
    const line = lines[at];
    if (!line) break;
    const next = lines[at + 1];
    const git = /^diff --git (.+)$/.exec(line.text)?.[1];
    if (git !== undefined) {
      finish();
      const [oldPath, newPath] = gitPaths(git);
      draft = newDraft(line, oldPath, newPath);
      at += 1;
    } else if (isFileHeader(line, next)) {
      // behind git's lines it belongs to the same file, and says which side is not there
      if (!draft || draft.hunks.length > 0) finish();
      draft ??= newDraft(line, undefined, undefined);
      readFileHeader(draft, line.text, next?.text ?? '');
      at += 2;
    } else if (draft && line.text.startsWith('@@ -')) {
      const read = readHunk(lines, at);
      if (typeof read === 'string') {
        const span = { file: name, start: line.start, end: line.end };
        diagnostics.push(malformed(name, span, read));
        return { files, diagnostics };
      }
      draft.hunks.push(read.hunk);
      draft.end = read.hunk.end;
      at = read.next;
    } else {
      if (draft && draft.hunks.length === 0) readGitLine(draft, line.text);
      at += 1;
    }
  }
  finish();
  if (files.length === 0) {
    diagnostics.push(
      malformed(name, { file: name, start: 0, end: lines[0]?.end ?? 0 }, 'it changes no file'),
    );
  }
  return { files, diagnostics };
}

function malformed(
  name: string,
  span: { file: string; start: number; end: number },
  why: string,
): Diagnostic {
  return patchCodes.report('patch/malformed', {
    message: `the patch ${quoted(name, 120)} cannot be read: ${why}`,
    span,
    help: 'Make it anew with diff -u or git format-patch; editors and mail programs change blanks at the ends of lines.',
  });
}

function splitLines(text: string): readonly Line[] {
  const lines: Line[] = [];
  for (let start = 0; start < text.length;) {
    const at = text.indexOf('\n', start);
    const end = at < 0 ? text.length : at;
    lines.push({ text: text.slice(start, end), start, end });
    start = end + 1;
  }
  return lines;
}

function newDraft(line: Line, oldPath: string | undefined, newPath: string | undefined): Draft {
  return {
    oldPath,
    newPath,
    from: undefined,
    executable: undefined,
    binary: false,
    created: false,
    deleted: false,
    hunks: [],
    start: line.start,
    end: line.end,
  };
}

function finished({ created, deleted, ...draft }: Draft): FilePatch {
  return {
    ...draft,
    oldPath: created ? undefined : draft.oldPath,
    newPath: deleted ? undefined : draft.newPath,
  };
}

function isFileHeader(line: Line, next: Line | undefined): boolean {
  return line.text.startsWith('--- ') && next?.text.startsWith('+++ ') === true;
}

function readFileHeader(draft: Draft, before: string, after: string): void {
  const [old, now] = [before, after].map((text) => readName(text.slice(4).replace(/\r$/, '')));
  draft.created ||= old?.nowhere === true;
  draft.deleted ||= now?.nowhere === true;
  // `/dev/null` names nothing; the name of the other side is the file's
  draft.oldPath = old?.path ?? now?.path ?? draft.oldPath;
  draft.newPath = now?.path ?? old?.path ?? draft.newPath;
}

function readName(text: string): { readonly path: string | undefined; readonly nowhere: boolean } {
  const [name = '', time = ''] = text.startsWith('"') ? [unquote(text)] : text.split('\t');
  const trimmed = name.trimEnd();
  if (trimmed === '/dev/null') return { path: undefined, nowhere: true };
  return { path: stripped(trimmed), nowhere: isEpoch(time) };
}

/** diff writes the beginning of time for a file that is not there. */
function isEpoch(time: string): boolean {
  const parts = /^(\d{4}-\d\d-\d\d) (\d\d:\d\d:\d\d)(?:\.0+)? ([+-]\d\d)(\d\d)/.exec(time);
  if (!parts) return false;
  return Date.parse(`${parts[1]}T${parts[2]}${parts[3]}:${parts[4]}`) === 0;
}

/** `patch -p1`: a name of one part has nothing left. */
function stripped(name: string): string | undefined {
  const path = name.replace(/^[^/]*\/+/, '');
  return path === name || path === '' ? undefined : path.replaceAll(/\/+/g, '/');
}

function unquote(text: string): string {
  const inner = /^"((?:[^"\\]|\\.)*)"/.exec(text)?.[1] ?? text;
  return inner.replaceAll(/\\([0-7]{3}|.)/g, (_, escape: string) => {
    if (/^[0-7]{3}$/.test(escape)) return String.fromCharCode(Number.parseInt(escape, 8) & 0xff);
    return (
      ({ n: '\n', t: '\t', r: '\r', a: '\x07', b: '\b', f: '\f', v: '\v' } as Record<string, string>)[
        escape
      ] ?? escape
    );
  });
}

/** `a/x b/x`: both are the same unless other lines say so, and names may hold blanks. */
function gitPaths(text: string): readonly [string | undefined, string | undefined] {
  const line = text.replace(/\r$/, '');
  const quotedPair = /^("(?:[^"\\]|\\.)*"|\S+) ("(?:[^"\\]|\\.)*"|\S+)$/.exec(line);
  if (quotedPair && line.includes('"')) {
    return [stripped(unquote(quotedPair[1] ?? '')), stripped(unquote(quotedPair[2] ?? ''))];
  }
  const half = (line.length - 1) / 2;
  const [first, second] = [line.slice(0, half), line.slice(half + 1)];
  if (line[half] === ' ' && stripped(first) === stripped(second)) return [stripped(first), stripped(second)];
  return [stripped(quotedPair?.[1] ?? ''), stripped(quotedPair?.[2] ?? '')];
}

function readGitLine(draft: Draft, raw: string): void {
  const text = raw.replace(/\r$/, '');
  const [, what, value = ''] =
    /^(new file mode|deleted file mode|new mode|rename from|rename to|copy from|copy to|GIT binary patch|Binary files) ?(.*)$/.exec(
      text,
    ) ?? [];
  const path = (): string => (value.startsWith('"') ? unquote(value) : value);
  switch (what) {
    case 'new file mode':
      draft.created = true;
      draft.executable = isExecutable(value);
      break;
    case 'new mode':
      draft.executable = isExecutable(value);
      break;
    case 'deleted file mode':
      draft.deleted = true;
      break;
    case 'rename from':
    case 'copy from':
      draft.from = what === 'rename from' ? 'rename' : 'copy';
      draft.oldPath = path();
      break;
    case 'rename to':
    case 'copy to':
      draft.newPath = path();
      break;
    case 'GIT binary patch':
    case 'Binary files':
      draft.binary = true;
      break;
    default:
  }
}

function isExecutable(mode: string): boolean {
  return (Number.parseInt(mode, 8) & 0o100) !== 0;
}

/** @returns what is wrong with it, or the hunk and where the patch goes on */
function readHunk(
  lines: readonly Line[],
  at: number,
): { readonly hunk: Hunk; readonly next: number } | string {
  const header = lines[at];
  const numbers = /^@@ -(\d{1,9})(?:,(\d{1,9}))? \+(\d{1,9})(?:,(\d{1,9}))? @@/.exec(header?.text ?? '');
  if (!header || !numbers) return 'the line is no header of a hunk';
  // a patch that came by mail, or from a system with other line ends
  const strip = header.text.endsWith('\r');
  let removed = Number(numbers[2] ?? 1);
  let added = Number(numbers[4] ?? 1);
  if (removed + added > longestHunk) return 'the hunk is longer than any text';
  const found: HunkLine[] = [];
  let position = at + 1;
  let end = header.end;
  for (; position < lines.length; position += 1) {
    const line = lines[position];
    if (!line) break;
    const text = strip ? line.text.replace(/\r$/, '') : line.text;
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
  return { hunk: { oldStart: Number(numbers[1]), lines: found, start: header.start, end }, next: position };
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
