import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { applyHunks, isApplied } from './apply-hunks.ts';
import { patchCodes } from './codes.ts';
import { parsePatch, type FilePatch } from './parse-patch.ts';

export interface PatchedFile {
  /** In latin1. */
  readonly text: string;
  readonly executable: boolean;
}

/** Path to file: those of the tree that matter. */
export type PatchedFiles = ReadonlyMap<string, PatchedFile>;

export interface Patched {
  readonly files: PatchedFiles;
  /** Spans are in the text of the patch. */
  readonly diagnostics: readonly Diagnostic[];
}

/**
 * Applies one patch, `patch -p1` without fuzz, to those files that matter; what it does to others is passed over.
 *
 * @param name of the patch, for diagnostics
 * @param patch its text, in latin1
 * @param matters whether a file of this path belongs to `files` when it is there
 */
export function applyPatch(
  files: PatchedFiles,
  name: string,
  patch: string,
  matters: (path: string) => boolean,
): Patched {
  const parsed = parsePatch(name, patch);
  const changed = new Map(files);
  const diagnostics: Diagnostic[] = [...parsed.diagnostics];
  const known = (path: string | undefined): boolean =>
    path !== undefined && (changed.has(path) || matters(path));
  for (const one of parsed.files) {
    if (known(one.oldPath) || known(one.newPath)) {
      const found = applyToFile(changed, name, one, known);
      if (found) diagnostics.push(found);
    } else if (one.oldPath === undefined && one.newPath === undefined) diagnostics.push(noName(name, one));
  }
  return { files: changed, diagnostics };
}

type Files = Map<string, PatchedFile>;

/** Changes `files`; what is wrong is returned. */
function applyToFile(
  files: Files,
  name: string,
  patch: FilePatch,
  known: (path: string | undefined) => boolean,
): Diagnostic | undefined {
  const span: Span = { file: name, start: patch.start, end: patch.end };
  if (patch.binary) return unreadable(name, patch, span, 'as binary data, which `patch` does not read');
  const source = findSource(files, patch);
  const old = source === undefined ? undefined : files.get(source);
  const target = patch.newPath ?? patch.oldPath ?? '';
  if (patch.oldPath === undefined) {
    if (files.has(target)) return exists(name, target, span);
  } else if (!old) {
    if (patch.from && !known(patch.oldPath)) {
      return unreadable(name, patch, span, `out of ${quoted(patch.oldPath, 120)}, which is not at hand`);
    }
    return missing(name, patch.oldPath, span);
  }
  const fitted = applyHunks(old?.text ?? '', patch.hunks);
  if (fitted.failed.length > 0) return doesNotApply(name, patch, old?.text ?? '', fitted.failed);
  if (patch.newPath === undefined) {
    if (fitted.text !== '') return notEmpty(name, target, span);
    if (source !== undefined) files.delete(source);
    return undefined;
  }
  const written = patch.from ? target : (source ?? target);
  if (patch.from && files.has(target) && source !== target) return exists(name, target, span);
  if (patch.from === 'rename' && source !== undefined) files.delete(source);
  const executable = patch.executable ?? old?.executable ?? false;
  if (known(written)) files.set(written, { text: fitted.text, executable });
  return undefined;
}

/** Which of its two names is there: a plain diff between two folders may have a suffix in one (`Kconfig.orig`). */
function findSource(files: Files, { oldPath, newPath, from }: FilePatch): string | undefined {
  if (from || oldPath === undefined || newPath === undefined || oldPath === newPath)
    return oldPath ?? newPath;
  const there = [oldPath, newPath].filter((path) => files.has(path));
  const depth = (path: string): number => path.split('/').length;
  return there.sort((a, b) => depth(a) - depth(b) || a.length - b.length)[0] ?? newPath;
}

function doesNotApply(name: string, patch: FilePatch, text: string, failed: readonly number[]): Diagnostic {
  const [first = 0] = failed;
  const hunk = patch.hunks[first];
  const path = patch.newPath ?? patch.oldPath ?? '';
  const several = failed.length > 1 ? `, nor do ${failed.length - 1} more of it` : '';
  const applied = isApplied(text, patch.hunks);
  return patchCodes.report('patch/does-not-apply', {
    message:
      `the patch ${quoted(name, 120)} does not apply: hunk ${first + 1} of ${patch.hunks.length} ` +
      `for ${quoted(path, 120)}, at its line ${hunk?.oldStart ?? 0}, fits nowhere${several}`,
    span: { file: name, start: hunk?.start ?? patch.start, end: hunk?.end ?? patch.end },
    notes: applied
      ? ['The file has these changes already.']
      : ['Patches are applied in the order of the spec, with no fuzz: every line of a hunk must be there.'],
    help: applied
      ? 'Take the patch out of the spec, or the version of the kernel that has it.'
      : 'Refresh the patch against the tree that it meets.',
  });
}

function missing(name: string, path: string, span: Span): Diagnostic {
  return patchCodes.report('patch/no-file', {
    message: `the patch ${quoted(name, 120)} is for ${quoted(path, 120)}, which this tree does not have`,
    span,
    help: 'Refresh the patch against the tree that it meets; its paths begin with one folder that is left out (a/, b/).',
  });
}

function noName(name: string, patch: FilePatch): Diagnostic {
  return patchCodes.report('patch/no-file', {
    message: `the patch ${quoted(name, 120)} does not say which file of the tree it is for`,
    span: { file: name, start: patch.start, end: patch.end },
    help: 'Its paths begin with one folder that is left out: make it with git format-patch, or diff -u of two folders.',
  });
}

function exists(name: string, path: string, span: Span): Diagnostic {
  return patchCodes.report('patch/file-exists', {
    message: `the patch ${quoted(name, 120)} makes the file ${quoted(path, 120)}, which is there already`,
    span,
    help: 'The tree may have this change already; or else refresh the patch against it.',
  });
}

function notEmpty(name: string, path: string, span: Span): Diagnostic {
  return patchCodes.report('patch/does-not-apply', {
    message: `the patch ${quoted(name, 120)} removes ${quoted(path, 120)}, but not all that is in it`,
    span,
    help: 'Refresh the patch against the tree that it meets.',
  });
}

function unreadable(name: string, patch: FilePatch, span: Span, how: string): Diagnostic {
  const path = patch.newPath ?? patch.oldPath ?? '';
  return patchCodes.report('patch/unreadable-change', {
    message: `the patch ${quoted(name, 120)} changes ${quoted(path, 120)} ${how}`,
    span,
    help: 'Make the patch anew as text (git format-patch --no-renames --no-binary).',
  });
}
