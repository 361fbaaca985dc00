/** Patches that fit, made into patches that do not: each in one of the ways in which patches go wrong in practice. */
import type { SeededRandom } from '../oracle/seeded-random.ts';
import { parsePatch, type FilePatch } from '../../src/patch/parse-patch.ts';
import type { Hunk } from '../../src/patch/read-hunk.ts';
import { linesOf } from '../../src/patch/apply-hunks.ts';
import type { Tree } from './gnu-patch.ts';

/** A patch with the files that it touches, before and after it. */
export interface FittingPatch {
  readonly name: string;
  readonly patch: string;
  readonly before: Tree;
  readonly after: Tree;
}

export const mutationKinds = [
  'none',
  'lines in front',
  'other line around',
  'other two lines around',
  'other line within',
  'applied before',
  'wrong way round',
  'no folder in front',
  'two folders in front',
  'patch with carriage returns',
  'file with carriage returns',
  'file elsewhere',
  'file gone',
  'new file there',
  'blanks for tabs',
  'cut off',
] as const;
export type MutationKind = (typeof mutationKinds)[number];

export interface Mutated {
  readonly kind: MutationKind;
  readonly name: string;
  readonly patch: string;
  readonly tree: Tree;
}

/** @returns nothing where the patch is none that can go wrong in this way */
export function mutate(
  { name, patch, before, after }: FittingPatch,
  kind: MutationKind,
  random: SeededRandom,
): Mutated | undefined {
  const made = (tree: Tree, text = patch): Mutated => ({ kind, name, patch: text, tree });
  const changes = parsePatch(name, patch).files;
  const changed = changes.filter(
    ({ oldPath, newPath, from, hunks }) =>
      oldPath !== undefined && newPath !== undefined && !from && hunks.length > 0,
  );
  const change = changed[random.below(Math.max(1, changed.length))];
  const path = change?.newPath ?? '';
  const file = before[path];
  switch (kind) {
    case 'none':
      return made(before);
    case 'lines in front': {
      if (file === undefined || change?.hunks[0]?.oldStart === 1) return undefined;
      return made({ ...before, [path]: `${'otter\n'.repeat(1 + random.below(40))}${file}` });
    }
    case 'other line around':
      return withOther(made, before, change, 1);
    case 'other two lines around':
      return withOther(made, before, change, 2);
    case 'other line within': {
      const hunk = change?.hunks[random.below(change.hunks.length)];
      const at =
        hunk?.lines
          .filter(({ kind: one }) => one !== 'added')
          .findIndex(({ kind: one }) => one === 'removed') ?? -1;
      if (file === undefined || !hunk || at < 0) return undefined;
      return inPlace(file, hunk, (line) => made({ ...before, [path]: replaceLine(file, line + at) }));
    }
    case 'applied before':
      return changed.length < changes.length ? undefined : made(after);
    case 'wrong way round':
      return changed.length < changes.length ? undefined : made(before, turned(patch));
    case 'no folder in front':
      return made(
        before,
        patch.replaceAll(/^(---|\+\+\+) [ab]\//gm, '$1 ').replaceAll(/^diff --git.*\n/gm, ''),
      );
    case 'two folders in front':
      return made(
        before,
        patch.replaceAll(/^(---|\+\+\+) ([ab])\//gm, '$1 x/$2/').replaceAll(/^diff --git.*\n/gm, ''),
      );
    case 'patch with carriage returns':
      return made(before, patch.replaceAll('\n', '\r\n'));
    case 'file with carriage returns':
      return file === undefined ? undefined : made({ ...before, [path]: file.replaceAll('\n', '\r\n') });
    case 'file elsewhere': {
      if (file === undefined) return undefined;
      const { [path]: _, ...rest } = before;
      return made({ ...rest, [`moved/${path}`]: file });
    }
    case 'file gone': {
      if (file === undefined) return undefined;
      const { [path]: _, ...rest } = before;
      return made(rest);
    }
    case 'new file there': {
      const fresh = changes.find(({ oldPath }) => oldPath === undefined)?.newPath;
      return fresh === undefined ? undefined : made({ ...before, [fresh]: 'otter\n' });
    }
    case 'blanks for tabs': {
      const damaged = patch.replaceAll(/^([ +-]+)\t/gm, '$1        ');
      return damaged === patch ? undefined : made(before, damaged);
    }
    case 'cut off': {
      const last = changes.at(-1)?.hunks.at(-1);
      if (!last || last.lines.length < 4) return undefined;
      return made(before, patch.slice(0, patch.lastIndexOf('\n', last.end - 1) + 1));
    }
  }
}

type Make = (tree: Tree) => Mutated;

/** Changes the outermost lines of context in the file, above or below a hunk. */
function withOther(
  made: Make,
  before: Tree,
  change: FilePatch | undefined,
  count: number,
): Mutated | undefined {
  const path = change?.newPath ?? '';
  const file = before[path];
  const hunk = change?.hunks[0];
  if (file === undefined || !hunk) return undefined;
  const context = hunk.lines.findIndex(({ kind }) => kind !== 'context');
  if (context < 3 || change.hunks.length > 1) return undefined;
  return inPlace(file, hunk, (line) => {
    let text = file;
    for (let nth = 0; nth < count; nth += 1) text = replaceLine(text, line + nth);
    return made({ ...before, [path]: text });
  });
}

/** Where the hunk stands in the file, from 0, which need not be where it says; only where that is in one place. */
function inPlace(file: string, hunk: Hunk, make: (line: number) => Mutated): Mutated | undefined {
  const text = hunk.lines.flatMap((line) => (line.kind === 'added' ? [] : line.text)).join('');
  const at = file.indexOf(text);
  if (at < 0 || file.indexOf(text, at + 1) >= 0 || (at > 0 && file[at - 1] !== '\n')) return undefined;
  return make(linesOf(file.slice(0, at)).length);
}

function replaceLine(text: string, at: number): string {
  return linesOf(text).with(at, 'the otter was here\n').join('');
}

/** As `git diff -R` would have written it. */
function turned(patch: string): string {
  let inHunk = false;
  return patch
    .split('\n')
    .map((line) => {
      if (line.startsWith('diff --git ')) return '';
      if (line.startsWith('--- a/')) return `--- b/${line.slice(6)}`;
      if (line.startsWith('+++ b/')) return `+++ a/${line.slice(6)}`;
      const header = /^@@ -(\S+) \+(\S+) @@(.*)$/.exec(line);
      if (header) inHunk = true;
      else if (line.startsWith('---') || line.startsWith('+++')) return line;
      if (header) return `@@ -${header[2]} +${header[1]} @@${header[3]}`;
      if (!inHunk) return line;
      if (line.startsWith('+')) return `-${line.slice(1)}`;
      return line.startsWith('-') && line !== '-- ' ? `+${line.slice(1)}` : line;
    })
    .join('\n');
}
