/** What one patch does to one file, done: text by the rules of GNU patch, binary data by git's. */
import { applyBinary, type BinaryChange, type Decoding } from './binary-change.ts';
import { applyHunks, fitsEverywhere, type Place } from './apply-hunks.ts';
import type { Effort } from './line-search.ts';
import type { FilePatch } from './parse-patch.ts';
import type { PatchedFile, WorkingTree } from './working-tree.ts';

/** Why a change cannot be made. */
export type Misfit = { readonly change: FilePatch; readonly path: string } & (
  | {
      readonly kind:
        'no-name' | 'outside' | 'missing' | 'exists' | 'not-empty' | 'link' | 'submodule' | 'costly';
    }
  | { readonly kind: 'no-data' | 'cut-index' | 'damaged' | 'other-content' | 'same-content' | 'from-unknown' }
  | { readonly kind: 'hunks'; readonly file: PatchedFile; readonly places: readonly (Place | undefined)[] }
);

export interface Made {
  readonly kind: 'made';
  readonly change: FilePatch;
  readonly places: readonly Place[];
  /** What lies where afterwards; nothing where a file is gone. */
  readonly left: readonly (readonly [string, PatchedFile | undefined])[];
}

export interface ChangeOptions {
  /** Of the patch that the change belongs to. */
  readonly name: string;
  readonly fuzz: number;
  readonly effort: Effort;
  readonly decoding: Decoding;
}

/** Makes a change in the tree. @returns nothing when it is about files that do not matter */
export function applyChange(
  tree: WorkingTree,
  change: FilePatch,
  options: ChangeOptions,
): Made | Misfit | undefined {
  const { oldPath, newPath, from } = change;
  const path = newPath ?? oldPath;
  if (path === undefined) return { kind: 'no-name', change, path: '' };
  if (![oldPath, newPath].some((one) => one !== undefined && tree.covers(one))) return undefined;
  const misfit = (kind: Exclude<Misfit['kind'], 'hunks'>, of = path): Misfit => ({ kind, change, path: of });
  const odd = [oldPath, newPath].find((one) => one !== undefined && !isPlainPath(one));
  if (odd !== undefined) return misfit('outside', odd);
  const special = specialMode(change);
  if (special) return misfit(special);
  const source = findSource(tree, change);
  const old = source === undefined ? undefined : tree.read(source);
  if (source !== undefined && tree.names.links?.has(source)) return misfit('link', source);
  if (oldPath === undefined) {
    if (tree.hasName(path)) return misfit('exists');
  } else if (!old) {
    return from && !tree.covers(oldPath) ? misfit('from-unknown', oldPath) : misfit('missing', oldPath);
  }
  const target = from ? path : (source ?? path);
  if (from && tree.hasName(target) && source !== target) return misfit('exists', target);
  const result = newContent(old?.text ?? '', change, options);
  if (options.effort.left <= 0) return misfit('costly', target);
  if (typeof result === 'string') return misfit(result, target);
  if ('failed' in result) {
    return { kind: 'hunks', change, path: target, file: old ?? emptyFile, places: result.failed };
  }
  if (newPath === undefined && result.text !== '') return misfit('not-empty', target);
  const executable = isExecutable(change.newMode) ?? old?.executable ?? false;
  const left: [string, PatchedFile | undefined][] = [];
  if (source !== undefined && (newPath === undefined || from === 'rename')) left.push([source, undefined]);
  if (newPath !== undefined) left.push([target, { text: result.text, executable }]);
  for (const [where, file] of left) {
    if (file) tree.write(where, file);
    else tree.remove(where, options.name);
  }
  return { kind: 'made', change, places: result.places, left };
}

/** Inside the tree, and in ASCII without control characters, as all names of a kernel's tree are. */
function isPlainPath(path: string): boolean {
  return (
    path.length <= longestPath &&
    /^[\x20-\x7e]+$/.test(path) &&
    path.split('/').every((part) => part !== '' && part !== '.' && part !== '..')
  );
}

const longestPath = 1024;

const emptyFile: PatchedFile = { text: '', executable: false };

type Content =
  | { readonly text: string; readonly places: readonly Place[] }
  | { readonly failed: readonly (Place | undefined)[] }
  | 'no-data'
  | 'cut-index'
  | 'damaged'
  | 'other-content'
  | 'same-content';

function newContent(old: string, change: FilePatch, { fuzz, effort, decoding }: ChangeOptions): Content {
  if (change.binary === 'without-data') return 'no-data';
  if (change.binary) return binaryContent(old, change, change.binary, decoding);
  const fitted = applyHunks(old, change.hunks, fuzz, effort);
  if (!fitsEverywhere(fitted)) return { failed: fitted.places };
  return { text: fitted.text, places: fitted.places.filter((place) => place !== undefined) };
}

/** As `git apply` does it: only on the very content that the patch was made from, named by its digest. */
function binaryContent(old: string, change: FilePatch, binary: BinaryChange, decoding: Decoding): Content {
  const { oldPath, newPath, oldBlob = '', newBlob = '' } = change;
  if (oldBlob.length !== 40 || newBlob.length !== 40) return 'cut-index';
  if (oldPath !== undefined) {
    const found = decoding.gitBlob(old);
    if (found !== oldBlob) return found === newBlob ? 'same-content' : 'other-content';
  }
  const text = applyBinary(old, binary.forward, decoding);
  if (text === undefined || (newPath !== undefined && decoding.gitBlob(text) !== newBlob)) return 'damaged';
  return { text, places: [] };
}

function specialMode({ oldMode, newMode }: FilePatch): 'link' | 'submodule' | undefined {
  const modes = [oldMode, newMode];
  if (modes.some((mode) => mode?.startsWith('12'))) return 'link';
  return modes.some((mode) => mode?.startsWith('16')) ? 'submodule' : undefined;
}

function isExecutable(mode: string | undefined): boolean | undefined {
  return mode === undefined ? undefined : (Number.parseInt(mode, 8) & 0o100) !== 0;
}

/** Which of its two names is there: a plain diff between two folders may have a suffix in one (`Kconfig.orig`). */
export function findSource(tree: WorkingTree, { oldPath, newPath, from }: FilePatch): string | undefined {
  if (from || oldPath === undefined || newPath === undefined || oldPath === newPath) {
    return oldPath ?? newPath;
  }
  const there = [oldPath, newPath].filter((path) => tree.has(path));
  const depth = (path: string): number => path.split('/').length;
  return there.sort((a, b) => depth(a) - depth(b) || a.length - b.length)[0] ?? newPath;
}
