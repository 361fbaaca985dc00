/** The Kconfig pack of a spec's source, as its patches leave it. */
import { createHash } from 'node:crypto';

import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { encodeLatin1 } from '../kconfig/latin1.ts';
import { isKeyFile, isPackFile, namedFiles } from '../kconfig/pack-files.ts';
import { createPack, type Pack, type PackFile } from '../kconfig/pack.ts';
import { applyStack } from '../patch/apply-patch.ts';
import type { StackPatch } from '../patch/explain-misfits.ts';
import { parsePatch, reversedChange, type FilePatch } from '../patch/parse-patch.ts';
import { WorkingTree, type PatchedFile } from '../patch/working-tree.ts';
import { decoding } from '../source/decoding.ts';
import type { PackSource } from '../source/held-source.ts';
import { keptPack, storedPack } from '../source/stored-pack.ts';
import type { SourceInputs } from '../spec/lock.ts';
import { isRemote } from '../spec/spec.ts';
import type { OpenSpec } from './open-spec.ts';
import { assertApplied, stackOf, tryPatches, type PatchedTree } from './patched-tree.ts';
import { locateFor, type LocalPatch } from './spec-files.ts';

export interface PatchedPack {
  readonly pack: Pack;
  /** SHA-256 of the pack before the patches. */
  readonly sha256: string;
  /** SHA-256 that stands for the pack with them. */
  readonly key: string;
  /** What the patches make of all files that they touch, where these were at hand. */
  readonly tree: PatchedTree | undefined;
  /** What is to be told of the patches. */
  readonly diagnostics: readonly Diagnostic[];
}

/**
 * The source is fetched only when the store has no pack of it, or when the whole tree is asked for and neither the source is
 * there nor what the patches touch.
 *
 * @param expected SHA-256 of the pack, where a lock tells
 * @param whole whether the patches have to be tried on all files that they touch
 * @throws Failure with the first patch that does not apply, `source/pack-differs`, and what fetching and reading throw
 */
export async function patchedPack(
  host: Host,
  opened: OpenSpec,
  inputs: SourceInputs,
  patches: readonly LocalPatch[],
  { expected, whole = false }: { readonly expected?: string | undefined; readonly whole?: boolean } = {},
): Promise<PatchedPack> {
  const wanted = packSource(inputs);
  const fetched = async (): Promise<void> => {
    // loaded only here: mostly the store has the pack
    const { fetchSource } = await import('../source/fetch-inputs.ts');
    await fetchSource(host, inputs, locateFor(host, opened), { epoch: opened.spec.build.epoch });
  };
  let stored = await keptPack(host, wanted, expected);
  if (!stored) {
    await fetched();
    stored = await storedPack(host, wanted, expected);
  }
  // without any, nothing of the source is worth being read
  let tree = patches.length > 0 ? await tryPatches(host, opened, wanted, patches) : undefined;
  if (!tree && whole && patches.length > 0) {
    await fetched();
    tree = await tryPatches(host, opened, wanted, patches);
    // a build without them would be another kernel
    if (!tree) throw new Error('the source was fetched, and is not there for the patches');
  }
  const { sha256 } = stored;
  const parts = [sha256, ...patches.map(patchKey)];
  const key = createHash('sha256').update(parts.join(' ')).digest('hex');
  const { pack, diagnostics } = patchPack(stored.pack, stackOf(opened, patches), tree);
  return { pack, sha256, key, tree, diagnostics };
}

function patchKey({ sha256, strip, reverse, fuzz }: LocalPatch): string {
  return strip === 1 && !reverse && fuzz === 0 ? sha256 : `${sha256}:${strip}:${reverse}:${fuzz}`;
}

/** How many files the patches touch that a configuration does not hang on: whether they apply there is not known yet. */
export function untriedFiles(opened: OpenSpec, patches: readonly LocalPatch[]): number {
  const touched = fileChanges(stackOf(opened, patches)).flatMap(
    ({ oldPath, newPath }) => oldPath ?? newPath ?? [],
  );
  return new Set(touched.filter((path) => !isPackFile(path))).size;
}

/** What is wrong in files of the tree, and which patch has changed these. */
export function blamePatches(
  diagnostics: readonly Diagnostic[],
  opened: OpenSpec,
  patches: readonly LocalPatch[],
): readonly Diagnostic[] {
  const changedBy = new Map(
    stackOf(opened, patches).flatMap((patch) =>
      fileChanges([patch]).map(({ newPath }) => [newPath, patch.name] as const),
    ),
  );
  return diagnostics.map((one) => {
    const patch = changedBy.get(one.span?.file);
    return patch === undefined
      ? one
      : { ...one, notes: [...one.notes, `${quoted(patch)} changes this file.`] };
  });
}

/** The pack of a source before any patches, encoded: as the lock has its digest. */
export async function storedPackBytes(
  host: Host,
  inputs: SourceInputs,
  expected: string,
): Promise<Uint8Array> {
  const { sha256 } = await storedPack(host, packSource(inputs), expected);
  const bytes = await host.store.read(sha256);
  if (!bytes) throw new Error(`the store has lost the pack ${sha256}`);
  return bytes;
}

function packSource({ source }: SourceInputs): PackSource {
  if (isRemote(source)) return { sha256: source.tar.sha256, remote: source };
  return { sha256: source.sha256, ...(source.kind === 'debian' && { debianPackage: source.package }) };
}

/** With what the dry run left; where there was none, the patches are applied to what is in the pack. */
function patchPack(
  pack: Pack,
  stack: readonly StackPatch[],
  whole: PatchedTree | undefined,
): { readonly pack: Pack; readonly diagnostics: readonly Diagnostic[] } {
  if (stack.length === 0) return { pack, diagnostics: [] };
  const { tree, diagnostics } = whole ?? patchKept(pack, stack);
  const files = new Map(pack.files);
  for (const [path, file] of tree.changed) {
    if (!file) files.delete(path);
    else if (pack.files.has(path) || isPackFile(path)) {
      files.set(path, packFile(file));
    }
  }
  addNamed(files, tree.changed);
  // what is in a key is not kept, and so nothing of it can be patched: it can come and go
  const keys = new Set(pack.keys);
  for (const { oldPath, newPath, from } of fileChanges(stack)) {
    if (oldPath === newPath) continue;
    if (oldPath !== undefined && from !== 'copy') keys.delete(oldPath);
    if (newPath !== undefined && isKeyFile(newPath)) keys.add(newPath);
  }
  return { pack: createPack(pack.source, files, { newest: pack.newest, keys }), diagnostics };
}

function packFile({ text, executable }: PatchedFile): PackFile {
  return { content: encodeLatin1(text), executable };
}

/** What Kconfig files name by its path, where patches have brought it: a pack of the patched source would have it. */
function addNamed(files: Map<string, PackFile>, changed: WorkingTree['changed']): void {
  let texts = [...changed].flatMap(([path, file]) => (file && files.has(path) ? [file.text] : []));
  while (texts.length > 0) {
    const brought = [...namedFiles(texts)].flatMap((path) => {
      const file = files.has(path) ? undefined : changed.get(path);
      return file ? [{ path, file }] : [];
    });
    for (const { path, file } of brought) files.set(path, packFile(file));
    texts = brought.map(({ file }) => file.text);
  }
}

function patchKept(pack: Pack, stack: readonly StackPatch[]): Pick<PatchedTree, 'tree' | 'diagnostics'> {
  const touched = new Set(fileChanges(stack).flatMap(({ oldPath, newPath }) => [oldPath, newPath]));
  const files = new Map<string, PatchedFile>();
  for (const [path, { executable }] of pack.files) {
    if (touched.has(path)) files.set(path, { text: pack.read(path) ?? '', executable });
  }
  const tree = new WorkingTree(files, isPackFile);
  const { diagnostics } = applyStack(tree, stack, decoding);
  assertApplied(diagnostics, stack);
  return { tree, diagnostics };
}

function fileChanges(stack: readonly StackPatch[]): readonly FilePatch[] {
  return stack.flatMap(({ name, text, strip, reverse }) => {
    const { files } = parsePatch(name, text, strip);
    return reverse ? files.map(reversedChange) : files;
  });
}
