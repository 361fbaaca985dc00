/** The dry run: the patches of a spec on all files that they touch, before anything is configured or built. */
import { createHash } from 'node:crypto';

import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import { decodeLatin1, encodeLatin1 } from '../kconfig/latin1.ts';
import type { KitPatch, KitPatches } from '../kit/patches.ts';
import { applyStack, type AppliedPatch } from '../patch/apply-patch.ts';
import type { StackPatch } from '../patch/explain-misfits.ts';
import { parsePatch } from '../patch/parse-patch.ts';
import type { PatchStep } from '../patch/patch-steps.ts';
import { WorkingTree } from '../patch/working-tree.ts';
import { decoding } from '../source/decoding.ts';
import type { PackSource } from '../source/held-source.ts';
import { sourceFiles } from '../source/stored-pack.ts';
import type { OpenSpec } from './open-spec.ts';
import { besideSpec } from './resolve-inside.ts';
import type { LocalPatch } from './spec-files.ts';

/** What is known of a patch before it is built, for people and their programs. */
export interface PatchSummary {
  /** Relative to the spec's folder. */
  readonly path: string;
  /** Of the file. */
  readonly sha256: string;
  /** What its header says that it does; of a mailbox, each message. */
  readonly subjects: readonly string[];
  /** Where it comes from, as its header says (DEP-3). */
  readonly origin?: string;
  /**
   * How many files it changes.
   *
   * @asType integer
   */
  readonly files: number;
  /**
   * How many hunks it has.
   *
   * @asType integer
   */
  readonly hunks: number;
  /**
   * How many of them stand at other lines than they say.
   *
   * @asType integer
   */
  readonly moved: number;
  /**
   * How many of them were fitted although lines around them differ.
   *
   * @asType integer
   */
  readonly fuzzy: number;
  /** Options that it adds to the Kconfig files. */
  readonly adds: readonly string[];
  /** Options that it takes out of them. */
  readonly removes: readonly string[];
}

export interface PatchedTree {
  readonly tree: WorkingTree;
  readonly patches: readonly PatchSummary[];
  /** What a kit does so that the same comes out, and looks at afterwards. */
  readonly kit: KitPatches;
  /** SHA-256 of what the patches leave, as the lock has it. */
  readonly patched: string;
  readonly diagnostics: readonly Diagnostic[];
}

/** The patches as whoever named the spec would name them, for messages. */
export function stackOf(
  { path }: Pick<OpenSpec, 'path'>,
  patches: readonly LocalPatch[],
): readonly StackPatch[] {
  return patches.map((patch) => ({
    name: besideSpec(path, patch.path),
    text: decodeLatin1(patch.content),
    strip: patch.strip,
    reverse: patch.reverse,
    fuzz: patch.fuzz,
  }));
}

/**
 * Applies the patches to all files that they touch, as far as these are at hand without fetching anything.
 *
 * @returns nothing where they are not
 * @throws Failure with all that is wrong with the first patch that does not apply, and what reading the source throws
 */
export async function tryPatches(
  host: Host,
  opened: Pick<OpenSpec, 'path'>,
  source: PackSource,
  patches: readonly LocalPatch[],
): Promise<PatchedTree | undefined> {
  const stack = stackOf(opened, patches);
  const touched = stack.flatMap(({ name, text, strip }) =>
    parsePatch(name, text, strip).files.flatMap(({ oldPath, newPath }) => [oldPath, newPath]),
  );
  const found = await sourceFiles(host, source, new Set(touched.filter((path) => path !== undefined)));
  if (!found) return undefined;
  const files = new Map(
    [...found.files].map(([path, { content, executable }]) => [
      path,
      { text: decodeLatin1(content), executable },
    ]),
  );
  const tree = new WorkingTree(files, () => true, found);
  const { patches: applied, diagnostics } = applyStack(tree, stack, decoding);
  assertApplied(diagnostics, stack);
  const paired = applied.map((one, nth) => {
    const patch = patches[nth];
    if (!patch) throw new Error(`${one.name} was applied, and is not in the stack`);
    return { patch, one };
  });
  const kit = {
    stack: paired.map(({ patch, one }) => kitPatch(patch, one)),
    left: leftFiles(tree),
  };
  return {
    tree,
    patches: paired.map(({ patch, one }) => summarise(patch, one)),
    kit,
    patched: digestOfLeft(kit.left),
    diagnostics,
  };
}

/** @throws Failure with what is said of the patch that does not apply */
export function assertApplied(diagnostics: readonly Diagnostic[], stack: readonly StackPatch[]): void {
  if (exitOf(diagnostics) === exitCodes.ok) return;
  throw new Failure(diagnostics, { sources: textsOf(stack) });
}

/** The texts that diagnostics of patches point into. */
export function textsOf(stack: readonly StackPatch[]): ReadonlyMap<string, string> {
  return new Map(stack.map(({ name, text }) => [name, text]));
}

function summarise({ path, sha256 }: LocalPatch, applied: AppliedPatch): PatchSummary {
  const { headers, files, hunks, moved, fuzzy, adds, removes } = applied;
  const origin = headers[0]?.origin;
  return {
    path,
    sha256,
    subjects: headers.flatMap(({ subject }) => subject ?? []),
    ...(origin !== undefined && { origin }),
    files,
    hunks,
    moved,
    fuzzy,
    adds,
    removes,
  };
}

function kitPatch({ path, strip, reverse, fuzz }: LocalPatch, { steps }: AppliedPatch): KitPatch {
  return { path, strip, reverse, fuzz, steps: steps.map(kitStep) };
}

function kitStep(step: PatchStep): KitPatch['steps'][number] {
  if (step.kind === 'remove') return step;
  const content = encodeLatin1(step.kind === 'apply' ? step.text : step.file.text);
  const sha256 = digest(content);
  if (step.kind === 'apply') return { kind: 'apply', sha256, content };
  return { kind: 'write', path: step.path, executable: step.file.executable, sha256, content };
}

function leftFiles(tree: WorkingTree): KitPatches['left'] {
  const paths = [...tree.changed.keys()].sort();
  return paths.map((path) => {
    const file = tree.read(path);
    if (!file) return { path, mode: 'gone' };
    return { path, mode: file.executable ? '755' : '644', sha256: digest(encodeLatin1(file.text)) };
  });
}

function digestOfLeft(left: KitPatches['left']): string {
  return digest(left.map(({ mode, sha256 = '-', path }) => `${mode} ${sha256} ${path}\n`).join(''));
}

function digest(content: string | Uint8Array): string {
  return createHash('sha256').update(content).digest('hex');
}
