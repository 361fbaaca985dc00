/** The Kconfig pack of a spec's source, as its patches leave it. */
import { createHash } from 'node:crypto';

import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { decodeLatin1, encodeLatin1 } from '../kconfig/latin1.ts';
import { isKeyFile, isPackFile } from '../kconfig/pack-files.ts';
import { createPack, type Pack, type PackFile } from '../kconfig/pack.ts';
import { applyPatch, type PatchedFiles } from '../patch/apply-patch.ts';
import { parsePatch, type FilePatch } from '../patch/parse-patch.ts';
import { fetchSource } from '../source/fetch-inputs.ts';
import { keptPack, sourceFiles, storedPack, type PackSource } from '../source/stored-pack.ts';
import type { SourceInputs } from '../spec/lock.ts';
import { isRemote } from '../spec/spec.ts';
import type { OpenSpec } from './open-spec.ts';
import { besideSpec, locateFor, type LocalFile } from './spec-files.ts';

export interface PatchedPack {
  readonly pack: Pack;
  /** SHA-256 of the pack before the patches. */
  readonly sha256: string;
  /** SHA-256 that stands for the pack with them. */
  readonly key: string;
}

/**
 * The source is fetched only when the store has no pack of it.
 *
 * @param expected SHA-256 of the pack, where a lock tells
 * @throws Failure with the first patch that does not apply, `source/pack-differs`, and what fetching and reading throw
 */
export async function patchedPack(
  host: Host,
  opened: OpenSpec,
  inputs: SourceInputs,
  patches: readonly LocalFile[],
  expected?: string,
): Promise<PatchedPack> {
  const wanted = packSource(inputs);
  let stored = await keptPack(host, wanted, expected);
  if (!stored) {
    await fetchSource(host, inputs, locateFor(host, opened), { epoch: opened.spec.build.epoch });
    stored = await storedPack(host, wanted, expected);
  }
  const { sha256 } = stored;
  const parts = [sha256, ...patches.map((patch) => patch.sha256)];
  const key = createHash('sha256').update(parts.join(' ')).digest('hex');
  return { pack: patchPack(stored.pack, named(opened, patches)), sha256, key };
}

/**
 * Applies the patches to all files that they touch, not only to those that a configuration hangs on. The source has to be
 * in the store.
 *
 * @throws Failure with the first patch that does not apply
 */
export async function assertPatchesApply(
  host: Host,
  opened: OpenSpec,
  inputs: SourceInputs,
  patches: readonly LocalFile[],
): Promise<void> {
  if (patches.length === 0) return;
  host.progress.stage('applying the patches');
  const touched = fileChanges(patches)
    .flatMap(({ oldPath, newPath }) => [oldPath, newPath])
    .filter((path) => path !== undefined);
  const found = await sourceFiles(host, packSource(inputs), new Set(touched));
  const files = new Map(
    [...found].map(([path, { content, executable }]) => [path, { text: decodeLatin1(content), executable }]),
  );
  applyAll(files, named(opened, patches), () => true);
}

/** How many files the patches touch that a configuration does not hang on: whether they apply there is not known yet. */
export function untriedFiles(patches: readonly LocalFile[]): number {
  const touched = fileChanges(patches).flatMap(({ oldPath, newPath }) => oldPath ?? newPath ?? []);
  return new Set(touched.filter((path) => !isPackFile(path))).size;
}

/** What is wrong in files of the tree, and which patch has changed these. */
export function blamePatches(
  diagnostics: readonly Diagnostic[],
  opened: OpenSpec,
  patches: readonly LocalFile[],
): readonly Diagnostic[] {
  const changedBy = new Map(
    named(opened, patches).flatMap((patch) =>
      fileChanges([patch]).map(({ newPath }) => [newPath, patch.path] as const),
    ),
  );
  return diagnostics.map((one) => {
    const patch = changedBy.get(one.span?.file);
    return patch === undefined
      ? one
      : { ...one, notes: [...one.notes, `${quoted(patch)} changes this file.`] };
  });
}

/** The patches as whoever named the spec would name them, for messages. */
function named({ path }: OpenSpec, patches: readonly LocalFile[]): readonly LocalFile[] {
  return patches.map((patch) => ({ ...patch, path: besideSpec(path, patch.path) }));
}

function packSource({ source }: SourceInputs): PackSource {
  if (isRemote(source)) return { sha256: source.tar.sha256, remote: source };
  return { sha256: source.sha256, ...(source.kind === 'debian' && { debianPackage: source.package }) };
}

function patchPack(pack: Pack, patches: readonly LocalFile[]): Pack {
  if (patches.length === 0) return pack;
  const touched = new Set(fileChanges(patches).flatMap(({ oldPath, newPath }) => [oldPath, newPath]));
  const others: [string, PackFile][] = [];
  const before = new Map<string, { readonly text: string; readonly executable: boolean }>();
  for (const [path, file] of pack.files) {
    if (!touched.has(path)) others.push([path, file]);
    else before.set(path, { text: pack.read(path) ?? '', executable: file.executable });
  }
  const after = [...applyAll(before, patches, isPackFile)].map(
    ([path, { text, executable }]) => [path, { content: encodeLatin1(text), executable }] as const,
  );
  // what is in a key is not kept, and so nothing of it can be patched: it can be new
  const brought = fileChanges(patches)
    .map(({ oldPath, newPath }) => (oldPath === undefined ? newPath : undefined))
    .filter((path) => path !== undefined)
    .filter(isKeyFile);
  return createPack(pack.source, [...others, ...after], {
    newest: pack.newest,
    keys: new Set([...pack.keys, ...brought]),
  });
}

function fileChanges(patches: readonly LocalFile[]): readonly FilePatch[] {
  return patches.flatMap(({ path, content }) => parsePatch(path, decodeLatin1(content)).files);
}

function applyAll(
  files: PatchedFiles,
  patches: readonly LocalFile[],
  matters: (path: string) => boolean,
): PatchedFiles {
  let patched = files;
  for (const { path, content } of patches) {
    const text = decodeLatin1(content);
    const applied = applyPatch(patched, path, text, matters);
    if (exitOf(applied.diagnostics) !== exitCodes.ok) {
      throw new Failure(applied.diagnostics, { sources: new Map([[path, text]]) });
    }
    patched = applied.files;
  }
  return patched;
}
