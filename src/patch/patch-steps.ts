/**
 * How a build comes to what the dry run came to. GNU patch applies the patches as they were written, but for three things: it
 * does not read binary data, nor names with blanks of files that are only renamed, and of several messages in one file a
 * later one does not find what an earlier one has renamed. So a patch is cut there; the pieces of a mailbox put together
 * again are the mailbox.
 */
import type { Made } from './apply-change.ts';
import type { StackPatch } from './explain-misfits.ts';
import type { FilePatch } from './parse-patch.ts';
import type { PatchMessage } from './patch-headers.ts';
import type { PatchedFile } from './working-tree.ts';

export type PatchStep =
  /** For GNU patch, with the options of the patch; in latin1. */
  | { readonly kind: 'apply'; readonly text: string }
  | { readonly kind: 'write'; readonly path: string; readonly file: PatchedFile }
  | { readonly kind: 'remove'; readonly path: string };

/** @param made what the patch has done, in that order */
export function patchSteps(
  { text }: StackPatch,
  messages: readonly PatchMessage[],
  made: readonly Made[],
): readonly PatchStep[] {
  const steps: PatchStep[] = [];
  const bounds = messages.map(({ start }, nth) => ({ start, end: messages[nth + 1]?.start ?? text.length }));
  let piece: { from: number; end: number; changes: Made[] } | undefined;
  const finish = (to: number): void => {
    if (piece && piece.changes.length > 0) steps.push({ kind: 'apply', text: cutPiece(text, piece, to) });
    piece = undefined;
  };
  for (const one of made) {
    const { start, end } = one.change;
    const message = bounds.find((bound) => start < bound.end) ?? { start: 0, end: text.length };
    if (piece && piece.end !== message.end) finish(piece.end);
    if (isForPatch(one.change)) {
      piece ??= { from: message.start, end: message.end, changes: [] };
      piece.changes.push(one);
      continue;
    }
    if (piece) finish(start);
    for (const [path, file] of one.left) {
      steps.push(file ? { kind: 'write', path, file } : { kind: 'remove', path });
    }
    piece = { from: end, end: message.end, changes: [] };
  }
  if (piece) finish(piece.end);
  return steps;
}

/** GNU patch knows a file by the line `diff --git` alone where no other names it, and ends a name there at a blank. */
function isForPatch({ binary, from, hunks, oldPath, newPath }: FilePatch): boolean {
  if (binary !== undefined) return false;
  return (from === undefined && hunks.length > 0) || !/\s/.test(`${oldPath ?? ''}${newPath ?? ''}`);
}

/** Lines that GNU patch takes for the beginning of a change, also where they are indented, or are a script for ed. */
const mistakable =
  /^[ \tX]*(?:- )*(?:--- |\+\+\+ |\*\*\* |diff --git |@@ -|GIT binary patch|\d+(?:,\d+)?[acd])/m;

/** With the text around the changes, for whoever reads the kit, unless something in it could be taken for a change. */
function cutPiece(
  text: string,
  { from, changes }: { from: number; changes: readonly Made[] },
  to: number,
): string {
  const spans = changes.map(({ change }) => change);
  const around = spans.map(({ start }, nth) => text.slice(spans[nth - 1]?.end ?? from, start));
  const rest = text.slice(spans.at(-1)?.end ?? from, to);
  if (![...around, rest].some((words) => mistakable.test(words))) return text.slice(from, to);
  return spans.map(({ start, end }) => `${text.slice(start, end)}\n`).join('');
}
