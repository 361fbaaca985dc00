/**
 * Reading patches: unified diffs (POSIX.1-2017, diff, "Diff -u Output Format") with what git adds ("Generating patch
 * text with -p" in git-diff(1)), and any text around them, as mails have it. Lenient where GNU patch is: what the build
 * applies must be read here as it is there.
 */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { readBinaryChange, type BinaryChange } from './binary-change.ts';
import { patchCodes } from './codes.ts';
import { readGitNames, readHeaderName, strippedName, unquoteName } from './patch-names.ts';
import { isHunkHeader, readHunk, reversedHunk, splitLines, type Hunk, type Line } from './read-hunk.ts';

/** What one patch does to one file. */
export interface FilePatch {
  /** Paths without what is stripped; `undefined` for a file that is not there before, or after. */
  readonly oldPath: string | undefined;
  readonly newPath: string | undefined;
  /** Git says that the file comes out of the one at `oldPath`, which stays when it is a copy. */
  readonly from: 'rename' | 'copy' | undefined;
  /** Modes before and after, in octal, where the patch says (`100644`, `100755`, `120000` for a link). */
  readonly oldMode: string | undefined;
  readonly newMode: string | undefined;
  /** What git calls the content before and after: whole or cut. */
  readonly oldBlob: string | undefined;
  readonly newBlob: string | undefined;
  /** `without-data`: only that the content differs is said. */
  readonly binary: BinaryChange | 'without-data' | undefined;
  /** Old and new side stand where the other does, by their names (`b/` before `a/`) or times. */
  readonly swapped: boolean;
  /** The lines end with carriage returns, which were left out. */
  readonly crlf: boolean;
  readonly hunks: readonly Hunk[];
  readonly start: number;
  readonly end: number;
}

export interface ParsedPatch {
  readonly files: readonly FilePatch[];
  readonly diagnostics: readonly Diagnostic[];
}

type Draft = { -readonly [Key in Exclude<keyof FilePatch, 'hunks'>]: FilePatch[Key] } & {
  created: boolean;
  deleted: boolean;
  hunks: Hunk[];
};

/**
 * @param name of the patch, for diagnostics, whose spans are in its text
 * @param text in latin1: a patch holds bytes of no stated encoding
 * @param strip how many folders of its names are left out (`patch -pN`)
 */
export function parsePatch(name: string, text: string, strip = 1): ParsedPatch {
  const lines = splitLines(text);
  const files: FilePatch[] = [];
  const stopped = (line: Line, why: string): ParsedPatch => {
    const span = { file: name, start: line.start, end: line.end };
    return { files, diagnostics: [malformed(name, span, why)] };
  };
  let draft: Draft | undefined;
  const finish = (): void => {
    if (draft && saysSomething(draft)) files.push(finished(draft));
    draft = undefined;
  };
  for (let at = 0; at < lines.length;) {
    const line = lines[at];
    if (!line) break;
    const next = lines[at + 1];
    if (line.text.startsWith('diff --git ')) {
      finish();
      draft = gitDraft(line, strip);
      at += 1;
    } else if (isFileHeader(line, next)) {
      // behind git's lines it belongs to the same file, and says which side is not there
      if (!draft || draft.hunks.length > 0) finish();
      draft ??= newDraft(line);
      readFileHeader(draft, line.text, next?.text ?? '', strip);
      draft.end = next?.end ?? line.end;
      at += 2;
    } else if (draft && isHunkHeader(line)) {
      if (draft.hunks.length === 0) draft.crlf = line.text.endsWith('\r');
      const read = readHunk(lines, at, draft.crlf);
      if (typeof read === 'string') return stopped(line, read);
      draft.hunks.push(read.hunk);
      draft.end = read.hunk.end;
      at = read.next;
    } else if (draft?.hunks.length === 0 && /^GIT binary patch\r?$/.test(line.text)) {
      const read = readBinaryChange(lines, at + 1);
      if (typeof read === 'string') return stopped(line, read);
      draft.binary = read.change;
      draft.end = lines[Math.min(read.next, lines.length) - 1]?.end ?? line.end;
      at = read.next;
    } else {
      const form = otherForm(line.text, next?.text ?? '', lines[at + 2]?.text ?? '');
      if (form !== undefined) return stopped(line, form);
      if (draft && draft.hunks.length === 0) readGitLine(draft, line, strip);
      at += 1;
    }
  }
  finish();
  if (files.length > 0) return { files, diagnostics: [] };
  return stopped(lines[0] ?? { text: '', start: 0, end: 0 }, 'it changes no file');
}

/**
 * A change in a form that is not read here. It is no prose to be passed over: patch(1) would apply some of them. What is
 * indented stays prose, as in git: messages quote changes so.
 */
function otherForm(line: string, next: string, third: string): string | undefined {
  if (line.startsWith('*** ') && next.startsWith('--- ') && /^\*{15}/.test(third))
    return 'it goes on with a context diff (diff -c)';
  if (/^@@@+ -\d/.test(line)) return 'it goes on with the combined diff of a merge';
  if (/^\d+(?:,\d+)?[acd]\d+(?:,\d+)?\r?$/.test(line) && /^[<>] /.test(next))
    return 'it goes on with a diff without any context';
  return undefined;
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

function newDraft(line: Line): Draft {
  return {
    oldPath: undefined,
    newPath: undefined,
    from: undefined,
    oldMode: undefined,
    newMode: undefined,
    oldBlob: undefined,
    newBlob: undefined,
    binary: undefined,
    swapped: false,
    crlf: false,
    created: false,
    deleted: false,
    hunks: [],
    start: line.start,
    end: line.end,
  };
}

function gitDraft(line: Line, strip: number): Draft {
  const [old, now] = readGitNames(line.text.slice('diff --git '.length).replace(/\r$/, ''));
  return {
    ...newDraft(line),
    oldPath: strippedName(old, strip),
    newPath: strippedName(now, strip),
    swapped: old.startsWith('b/') && now.startsWith('a/'),
  };
}

function saysSomething({ hunks, from, oldMode, newMode, binary, created, deleted }: Draft): boolean {
  return hunks.length > 0 || (from ?? newMode ?? oldMode ?? binary) !== undefined || created || deleted;
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

function readFileHeader(draft: Draft, before: string, after: string, strip: number): void {
  const [oldLine, newLine] = [before.replace(/\r$/, ''), after.replace(/\r$/, '')];
  const [old, now] = [readHeaderName(oldLine, strip), readHeaderName(newLine, strip)];
  draft.created ||= old.nowhere;
  draft.deleted ||= now.nowhere;
  draft.swapped ||=
    (oldLine.startsWith('--- b/') && newLine.startsWith('+++ a/')) ||
    (old.time ?? 0) > (now.time ?? Infinity);
  // `/dev/null` names nothing; the name of the other side is the file's
  draft.oldPath = old.path ?? now.path ?? draft.oldPath;
  draft.newPath = now.path ?? old.path ?? draft.newPath;
}

const gitLine =
  /^(new file mode|deleted file mode|old mode|new mode|rename from|rename to|copy from|copy to|index|Binary files) ?(.*)$/;

function readGitLine(draft: Draft, line: Line, strip: number): void {
  const [, what, value = ''] = gitLine.exec(line.text.replace(/\r$/, '')) ?? [];
  if (what === undefined) return;
  draft.end = line.end;
  // git writes these names without the folder in front, `a/` or `b/`
  const path = (): string | undefined =>
    strippedName(`a/${value.startsWith('"') ? unquoteName(value) : value}`, Math.max(strip, 1));
  switch (what) {
    case 'new file mode':
      draft.created = true;
      draft.newMode = value;
      break;
    case 'deleted file mode':
      draft.deleted = true;
      draft.oldMode = value;
      break;
    case 'old mode':
      draft.oldMode = value;
      break;
    case 'new mode':
      draft.newMode = value;
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
    case 'index': {
      const [, old, now, mode] = /^([0-9a-f]+)\.\.([0-9a-f]+)(?: (\d{6}))?$/.exec(value) ?? [];
      draft.oldBlob = old;
      draft.newBlob = now;
      draft.oldMode ??= mode;
      draft.newMode ??= mode;
      break;
    }
    case 'Binary files':
      draft.binary = 'without-data';
      break;
    default:
  }
}

/** The change that takes back what this one does (`patch -R`). */
export function reversedChange(change: FilePatch): FilePatch {
  const { binary } = change;
  return {
    ...change,
    oldPath: change.newPath,
    newPath: change.oldPath,
    oldMode: change.newMode,
    newMode: change.oldMode,
    oldBlob: change.newBlob,
    newBlob: change.oldBlob,
    binary:
      typeof binary !== 'object'
        ? binary
        : binary.backward
          ? { forward: binary.backward, backward: binary.forward }
          : 'without-data',
    hunks: change.hunks.map(reversedHunk),
  };
}
