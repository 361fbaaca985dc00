/** Why a patch does not apply, in words: what it meets instead of what it was made for, and what to do about it. */
import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Misfit } from './apply-change.ts';
import { applyHunks, fitsEverywhere, isApplied } from './apply-hunks.ts';
import { patchCodes, type PatchCode } from './codes.ts';
import { parsePatch, type FilePatch } from './parse-patch.ts';
import type { Hunk } from './read-hunk.ts';
import { showMisfit } from './show-misfit.ts';
import type { WorkingTree } from './working-tree.ts';

/** A patch with how it is to be applied. */
export interface StackPatch {
  /** As a person would name it. */
  readonly name: string;
  /** In latin1. */
  readonly text: string;
  /** How many folders of its names are left out. */
  readonly strip: number;
  /** It is to be taken back (`patch -R`). */
  readonly reverse: boolean;
  /** How many lines of context at either end of a hunk need not be there. */
  readonly fuzz: number;
}

/** More than this of one patch help nobody. */
const mostExplained = 8;
/** What GNU patch allows when nothing is said. */
const usualFuzz = 2;
/** Folders in front of the names of patches, as they occur. */
const usualStrips = [0, 1, 2, 3, 4];

type Report = (code: PatchCode, change: FilePatch, message: string, more?: Partial<Diagnostic>) => Diagnostic;

/**
 * @param count of the changes that the patch makes in files that are known
 */
export function explainMisfits(
  tree: WorkingTree,
  patch: StackPatch,
  misfits: readonly Misfit[],
  count: number,
): readonly Diagnostic[] {
  const [first] = misfits;
  if (!first) return [];
  const report: Report = (code, change, message, { notes = [], help, span } = {}) =>
    patchCodes.report(code, {
      message: `the patch ${quoted(patch.name, 120)} ${message}`,
      span: span ?? { file: patch.name, start: change.start, end: change.end },
      notes,
      help,
    });
  const strip = fittingStrip(tree, patch, misfits);
  if (strip !== undefined) return [wrongStrip(patch, first.change, strip, report)];
  const done = misfits.filter((misfit) => isDone(misfit));
  if (done.length === count) return [alreadyThere(patch, first.change, report)];
  const found = misfits
    .slice(0, mostExplained)
    .map((misfit) => explainMisfit(tree, patch, misfit, isDone(misfit), report));
  return found;
}

/** The changes are there already. */
function isDone(misfit: Misfit): boolean {
  if (misfit.kind === 'same-content') return true;
  return misfit.kind === 'hunks' && isApplied(misfit.file.text, misfit.change.hunks);
}

/** How many folders would have to be left out so that every file is there that is missing now. */
function fittingStrip(tree: WorkingTree, patch: StackPatch, misfits: readonly Misfit[]): number | undefined {
  if (!misfits.every(({ kind }) => kind === 'missing' || kind === 'no-name')) return undefined;
  return usualStrips
    .filter((strip) => strip !== patch.strip)
    .find((strip) => {
      const old = parsePatch(patch.name, patch.text, strip).files.filter(({ oldPath, newPath }) =>
        patch.reverse ? newPath !== undefined : oldPath !== undefined,
      );
      const named = old.map(({ oldPath, newPath }) =>
        [oldPath, newPath].filter((path) => path !== undefined),
      );
      return named.length > 0 && named.every((paths) => paths.some((path) => tree.hasName(path)));
    });
}

function wrongStrip({ strip }: StackPatch, change: FilePatch, fitting: number, report: Report): Diagnostic {
  const message = `names its files with ${folders(fitting)} in front, and ${folders(strip)} ${strip === 1 ? 'is' : 'are'} left out`;
  return report('patch/wrong-strip', change, message, {
    help: `Write \`strip: ${fitting}\` for it in the spec, or \`-p${fitting}\` behind its name in a series.`,
  });
}

function folders(count: number): string {
  return count === 0 ? 'no folder' : count === 1 ? 'one folder' : `${count} folders`;
}

function alreadyThere({ reverse }: StackPatch, change: FilePatch, report: Report): Diagnostic {
  if (change.swapped && !reverse) {
    return report(
      'patch/reversed',
      change,
      'was made the wrong way round: it goes from the new files to the old',
      {
        notes: ['Backwards it applies; its names or times say that old and new stand in each other’s place.'],
        help: 'Make it anew, or write `reverse: true` for it in the spec (`-R` in a series).',
      },
    );
  }
  if (reverse) {
    return report('patch/already-applied', change, 'is to be taken back, and the tree does not have it', {
      notes: ['What the patch takes out is what stands there: it applies as it was made.'],
      help: 'Take the patch out of the spec, or its `reverse: true` (`-R` in a series) if it is to be applied.',
    });
  }
  return report('patch/already-applied', change, 'is in the tree already: all that it changes', {
    notes: [
      'Backwards it applies. An earlier patch of the spec may have the same change; and the stable releases of a kernel take up what was a patch before.',
    ],
    help: 'Take the patch out of the spec.',
  });
}

function explainMisfit(
  tree: WorkingTree,
  patch: StackPatch,
  misfit: Misfit,
  done: boolean,
  report: Report,
): Diagnostic {
  const { change, path } = misfit;
  const file = quoted(path, 120);
  const refresh = 'Refresh the patch against the tree that it meets.';
  const anew = 'Make the patch anew as git does it in full: git format-patch --binary --full-index.';
  const unreadable = (how: string, help = anew): Diagnostic =>
    report('patch/unreadable-change', change, `changes ${file} ${how}`, { help });
  switch (misfit.kind) {
    case 'no-name':
      return report('patch/no-file', change, 'does not say which file of the tree it is for', {
        help: `Of its names ${folders(patch.strip)} in front ${patch.strip === 1 ? 'is' : 'are'} left out (a/, b/): make it with git format-patch, or diff -u of two folders.`,
      });
    case 'outside':
      return report(
        'patch/unreadable-change',
        change,
        `names ${file}, which is no plain path inside a tree`,
        {
          help: 'See where this patch comes from: nothing of a kernel is called so.',
        },
      );
    case 'missing':
      return missing(tree, change, path, report);
    case 'exists':
      return report('patch/file-exists', change, `makes the file ${file}, which is there already`, {
        notes: sameAsMade(tree, change, path) ? ['What it would write is what stands there.'] : [],
        help: 'The tree may have this change already; or else refresh the patch against it.',
      });
    case 'not-empty':
      return report('patch/does-not-apply', change, `removes ${file}, but not all that is in it`, {
        help: refresh,
      });
    case 'hunks':
      return done
        ? report(
            'patch/already-applied',
            change,
            `has been applied to ${file} before, though not to all of its files`,
            {
              help: 'Take what is there already out of the patch.',
            },
          )
        : explainHunks(patch, misfit, report);
    case 'link':
      return unreadable(
        'as a symbolic link, which is not followed',
        'Change the file that the link leads to.',
      );
    case 'submodule':
      return unreadable('as a submodule of git, which no tree has', 'Take this change out of the patch.');
    case 'no-data':
      return unreadable('as binary data that are not in it');
    case 'cut-index':
      return unreadable('as binary data, without the full digests of what it was and becomes');
    case 'damaged':
      return unreadable('as binary data that are damaged: they do not come to what it names');
    case 'same-content':
    case 'other-content':
      return report(
        done ? 'patch/already-applied' : 'patch/does-not-apply',
        change,
        `is not for this content of ${file}`,
        {
          notes: [`Binary data fit one content alone, which git calls ${change.oldBlob ?? ''}.`],
          help: refresh,
        },
      );
    case 'from-unknown':
      return unreadable(
        'out of a file that is not at hand',
        'Make the patch anew without renames: git format-patch --no-renames.',
      );
    case 'costly':
      return report('patch/too-costly', change, `takes too long to be fitted into ${file}`, {
        notes: ['Neither a patch that people write nor a file of a kernel comes near this.'],
        help: 'See what is in this patch.',
      });
  }
}

function sameAsMade(tree: WorkingTree, { hunks }: FilePatch, path: string): boolean {
  return tree.read(path)?.text === applyHunks('', hunks).text;
}

function missing(tree: WorkingTree, change: FilePatch, path: string, report: Report): Diagnostic {
  const file = quoted(path, 120);
  const by = tree.goneBy(path);
  if (by !== undefined) {
    return report('patch/file-gone', change, `is for ${file}, which an earlier patch has taken away`, {
      notes: [`${quoted(by, 120)} removes or renames it.`],
      help: 'Change the order of the patches, or refresh this one.',
    });
  }
  const meant = nearestPath(tree, path);
  return report('patch/no-file', change, `is for ${file}, which this tree does not have`, {
    notes: meant === undefined ? [] : [`The tree has ${quoted(meant, 120)}.`],
    help: 'Refresh the patch against the tree that it meets.',
  });
}

/** The same name in the folder that is most alike, or the most alike name in the same folder. */
function nearestPath(tree: WorkingTree, path: string): string | undefined {
  const at = path.lastIndexOf('/') + 1;
  const [folder, name] = [path.slice(0, at), path.slice(at)];
  const [moved, beside]: [string[], string[]] = [[], []];
  for (const one of tree.candidates()) {
    const split = one.lastIndexOf('/') + 1;
    if (one.slice(split) === name) moved.push(one);
    else if (one.slice(0, split) === folder) beside.push(one.slice(split));
  }
  const shared = (one: string): number => {
    const length = [...one].findIndex((character, index) => character !== path[index]);
    return length < 0 ? one.length : length;
  };
  const [best] = moved.sort((a, b) => shared(b) - shared(a) || (a < b ? -1 : 1));
  if (best !== undefined && name !== 'Makefile' && name !== 'Kconfig') return best;
  const meant = nearest(name, beside);
  return meant === undefined ? best : folder + meant;
}

function explainHunks(patch: StackPatch, misfit: Misfit & { kind: 'hunks' }, report: Report): Diagnostic {
  const { change, path, file, places } = misfit;
  const failed = [...places.keys()].filter((index) => !places[index]);
  const [nth = 0] = failed;
  const hunk = change.hunks[nth];
  const span: Span = {
    file: patch.name,
    start: hunk?.start ?? change.start,
    end: hunk?.end ?? change.end,
  };
  const which = `hunk ${nth + 1} of ${change.hunks.length} for ${quoted(path, 120)}, at its line ${hunk?.oldStart ?? 0},`;
  if (fitsWithoutReturns(file.text, change.hunks)) {
    const [there, here] = file.text.includes('\r\n')
      ? ['the file has', 'the patch has not']
      : ['the patch has', 'the file has not'];
    return report('patch/line-ends', change, `does not apply: ${which} fits but for the line ends`, {
      span,
      notes: [`Carriage returns at the ends of lines: ${there} them, ${here}.`],
      help: 'Write the patch in the line ends of the file (unix2dos, dos2unix; git format-patch keeps them, mail does not).',
    });
  }
  const several = failed.length > 1 ? `, nor do ${failed.length - 1} more of it` : '';
  const beside = showMisfit(file.text, change.hunks, nth, places);
  const fuzz = [1, usualFuzz].find(
    (much) => much > patch.fuzz && fitsEverywhere(applyHunks(file.text, change.hunks, much)),
  );
  if (fuzz !== undefined) {
    return report(
      'patch/needs-fuzz',
      change,
      `fits only with fuzz ${fuzz}: ${which} has other lines around it`,
      {
        span,
        notes: [
          'A hunk whose surroundings have changed may end up in the wrong place, and nobody is told.',
          beside,
        ],
        help: `Refresh the patch; or look at the place, and allow it in the spec: \`fuzz: ${fuzz}\`.`,
      },
    );
  }
  const blanks = fitsWithoutBlanks(file.text, change.hunks)
    ? ['But for blanks and tabs it would fit: an editor or a mail program has changed them.']
    : [];
  return report('patch/does-not-apply', change, `does not apply: ${which} fits nowhere${several}`, {
    span,
    notes: [...blanks, beside],
    help: 'Refresh the patch against the tree that it meets; patches are applied in the order of the spec.',
  });
}

function fitsWithoutReturns(text: string, hunks: readonly Hunk[]): boolean {
  const plain = (line: string): string => line.replace(/\r(?=\n|$)/g, '');
  const isMixed =
    text.includes('\r') || hunks.some(({ lines }) => lines.some((line) => line.text.includes('\r')));
  return isMixed && fitsEverywhere(applyHunks(plain(text), rewritten(hunks, plain)));
}

function fitsWithoutBlanks(text: string, hunks: readonly Hunk[]): boolean {
  const plain = (line: string): string => line.replace(/[ \t]+/g, ' ').replace(/ (?=\n|$)/g, '');
  return fitsEverywhere(applyHunks(plain(text), rewritten(hunks, plain)));
}

function rewritten(hunks: readonly Hunk[], rewrite: (text: string) => string): readonly Hunk[] {
  return hunks.map((hunk) => ({
    ...hunk,
    lines: hunk.lines.map((line) => ({ ...line, text: rewrite(line.text) })),
  }));
}
