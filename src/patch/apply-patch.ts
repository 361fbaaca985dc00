/** Patches applied to a tree, one after the other, before anything is configured or built: the dry run. */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { exitCodes, exitOf } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { applyChange, type Made, type Misfit } from './apply-change.ts';
import { newEffort } from './apply-hunks.ts';
import type { Decoding } from './binary-change.ts';
import { patchCodes } from './codes.ts';
import { explainMisfits, type StackPatch } from './explain-misfits.ts';
import { definedOptions, isKconfigFile } from './option-changes.ts';
import { parsePatch, reversedChange, type FilePatch } from './parse-patch.ts';
import { readMessages, type PatchHeader, type PatchMessage } from './patch-headers.ts';
import { patchSteps, type PatchStep } from './patch-steps.ts';
import type { WorkingTree } from './working-tree.ts';

/** What a patch has done. */
export interface AppliedPatch {
  readonly name: string;
  /** One, or of a mailbox one for each message. */
  readonly headers: readonly PatchHeader[];
  /** How many files it changes, of those that matter. */
  readonly files: number;
  readonly hunks: number;
  /** Hunks that stand at other lines than they say, and how far off the furthest is. */
  readonly moved: number;
  readonly furthest: number;
  /** Hunks that were fitted although lines around them differ. */
  readonly fuzzy: number;
  /** Options that it adds to the Kconfig files, and takes out of them. */
  readonly adds: readonly string[];
  readonly removes: readonly string[];
  /** What a build has to do so that the same comes out. */
  readonly steps: readonly PatchStep[];
  /** Spans are in the text of the patch. */
  readonly diagnostics: readonly Diagnostic[];
}

/** Applies a patch to the files that matter; the tree is left as far as it came when the diagnostics have an error. */
export function applyPatch(tree: WorkingTree, patch: StackPatch, decoding: Decoding): AppliedPatch {
  const parsed = parsePatch(patch.name, patch.text, patch.strip);
  const messages = readMessages(patch.text);
  const options = { ...patch, effort: newEffort(), decoding };
  const made: Made[] = [];
  const misfits: Misfit[] = [];
  const kconfig = new Map<string, ReadonlySet<string>>();
  const groups = patch.reverse
    ? groupsOf(parsed.files, messages).toReversed()
    : groupsOf(parsed.files, messages);
  for (const written of groups.flat()) {
    const change = patch.reverse ? reversedChange(written) : written;
    for (const path of [change.oldPath, change.newPath]) {
      if (path === undefined || kconfig.has(path) || !isKconfigFile(path)) continue;
      kconfig.set(path, definedOptions(tree.read(path)?.text ?? ''));
    }
    const done = applyChange(tree, change, options);
    if (done?.kind === 'made') made.push(done);
    else if (done) misfits.push(done);
  }
  const places = made.flatMap((one) => one.places);
  const applied = {
    name: patch.name,
    headers: messages.map(({ header }) => header),
    files: new Set(made.flatMap(({ left }) => left.map(([path]) => path))).size,
    hunks: places.length,
    moved: places.filter(({ offset }) => offset !== 0).length,
    furthest: places.reduce((most, { offset }) => Math.max(most, Math.abs(offset)), 0),
    fuzzy: places.filter(({ fuzz }) => fuzz > 0).length,
    ...optionChanges(tree, kconfig),
    steps: patchSteps(patch, messages, made),
  };
  const wrong = [
    ...parsed.diagnostics,
    ...explainMisfits(tree, patch, misfits, made.length + misfits.length),
  ];
  return { ...applied, diagnostics: [...wrong, ...remarks(patch, made)] };
}

/** The changes of each message; those before the first one belong to it. */
function groupsOf(
  changes: readonly FilePatch[],
  messages: readonly PatchMessage[],
): readonly (readonly FilePatch[])[] {
  return messages.map(({ start }, nth) => {
    const end = messages[nth + 1]?.start ?? Infinity;
    return changes.filter((change) => change.start >= start && change.start < end);
  });
}

function optionChanges(
  tree: WorkingTree,
  before: ReadonlyMap<string, ReadonlySet<string>>,
): Pick<AppliedPatch, 'adds' | 'removes'> {
  const [old, now] = [new Set<string>(), new Set<string>()];
  for (const [path, options] of before) {
    for (const option of options) old.add(option);
    for (const option of definedOptions(tree.read(path)?.text ?? '')) now.add(option);
  }
  return {
    adds: [...now].filter((option) => !old.has(option)),
    removes: [...old].filter((option) => !now.has(option)),
  };
}

function remarks(patch: StackPatch, made: readonly Made[]): readonly Diagnostic[] {
  const name = `the patch ${quoted(patch.name, 120)}`;
  const fuzzy = made.flatMap(({ change, places }) =>
    places.flatMap(({ fuzz, line }, nth) =>
      fuzz > 0 ? [{ change, hunk: change.hunks[nth], fuzz, line }] : [],
    ),
  );
  const found = fuzzy.map(({ change, hunk, fuzz, line }) =>
    patchCodes.report('patch/fuzz', {
      message: `${name} was fitted into ${quoted(change.newPath ?? change.oldPath ?? '', 120)} at line ${line} with fuzz ${fuzz}: lines around it differ`,
      span: { file: patch.name, start: hunk?.start ?? change.start, end: hunk?.end ?? change.end },
      help: 'See that it stands where it was meant to, and refresh the patch.',
    }),
  );
  const first = made.find(({ change }) => change.crlf)?.change;
  if (!first) return found;
  return [
    ...found,
    patchCodes.report('patch/carriage-returns', {
      message: `${name} has carriage returns at the ends of its lines, which were left out`,
      span: { file: patch.name, start: first.start, end: first.end },
      help: 'Write it anew with plain line ends (dos2unix), unless its files have such, too.',
    }),
  ];
}

export interface AppliedStack {
  /** As far as they applied. */
  readonly patches: readonly AppliedPatch[];
  readonly diagnostics: readonly Diagnostic[];
}

/** Applies patches in their order, up to the first that does not apply: what comes behind it meets another tree. */
export function applyStack(
  tree: WorkingTree,
  stack: readonly StackPatch[],
  decoding: Decoding,
): AppliedStack {
  const patches: AppliedPatch[] = [];
  const diagnostics: Diagnostic[] = [];
  for (const patch of stack) {
    const applied = applyPatch(tree, patch, decoding);
    diagnostics.push(...applied.diagnostics);
    if (exitOf(applied.diagnostics) !== exitCodes.ok) break;
    patches.push(applied);
  }
  return { patches, diagnostics: [...diagnostics, ...movedHunks(patches), ...changedOptions(patches)] };
}

/** Lines of a note; a stack of hundreds of patches has as many to tell. */
const mostTold = 8;

function told(lines: readonly string[]): readonly string[] {
  if (lines.length <= mostTold) return lines;
  return [...lines.slice(0, mostTold), `… and ${lines.length - mostTold} more patches.`];
}

function movedHunks(patches: readonly AppliedPatch[]): readonly Diagnostic[] {
  const moved = patches.filter((patch) => patch.moved > 0);
  if (moved.length === 0) return [];
  const count = moved.reduce((sum, patch) => sum + patch.moved, 0);
  const notes = moved
    .toSorted((a, b) => b.furthest - a.furthest)
    .map(
      (patch) =>
        `${quoted(patch.name, 120)}: ${patch.moved} of ${patch.hunks}, up to ${patch.furthest} lines off.`,
    );
  return [
    patchCodes.report('patch/offset', {
      message: `${count} ${count === 1 ? 'hunk stands' : 'hunks stand'} at other lines than ${moved.length === 1 ? 'the patch says' : `${moved.length} patches say`}: all lines around are there`,
      notes: told(notes),
    }),
  ];
}

function changedOptions(patches: readonly AppliedPatch[]): readonly Diagnostic[] {
  const lines = patches.flatMap(({ name, adds, removes }) =>
    adds.length + removes.length === 0
      ? []
      : [
          `${quoted(name, 120)}: ${[
            ...(adds.length > 0 ? [`adds ${adds.join(', ')}`] : []),
            ...(removes.length > 0 ? [`takes out ${removes.join(', ')}`] : []),
          ].join('; ')}.`,
        ],
  );
  if (lines.length === 0) return [];
  return [
    patchCodes.report('patch/options', {
      message: 'patches change which options there are',
      notes: told(lines),
    }),
  ];
}
