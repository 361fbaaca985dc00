import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import { decodeLatin1, encodeLatin1 } from '../kconfig/latin1.ts';
import { isPackFile } from '../kconfig/pack-files.ts';
import { createPack, type Pack } from '../kconfig/pack.ts';
import { applyPatch, type PatchedFile } from '../patch/apply-patch.ts';
import { fetchSource } from '../source/fetch-inputs.ts';
import { keptPack, storedPack } from '../source/stored-pack.ts';
import { compareWithLock } from '../spec/compare-lock.ts';
import type { Inputs } from '../spec/lock.ts';
import { configureTree, type TreeConfig } from './configure-tree.ts';
import { openLock, type OpenSpec } from './open-spec.ts';
import type { ProbeOptions } from './options.ts';
import { pinInputs } from './pin-inputs.ts';
import { assertPinned } from './pinned-files.ts';
import { collectRequests } from './requests.ts';
import { locateFor, lockPath, readSpecFiles, type LocalFile } from './spec-files.ts';
import { readAnsweredTree } from './tree-answers.ts';

/**
 * The configuration that a spec asks for, worked out without building or running anything of the tree.
 *
 * @throws Failure when the spec differs from its lock, and what fetching and reading the source throws
 */
export async function configureSpec(
  opened: OpenSpec,
  options: ProbeOptions & { readonly lock?: string },
  host: Host,
): Promise<TreeConfig> {
  const { spec, folder } = opened;
  const files = await readSpecFiles(host, folder, spec);
  const asked = collectRequests(opened, files);
  const pinned = await inputsOf(opened, files, options, host);
  const patched = patchPack(await packOf(opened, pinned.inputs, host), files.patches);
  const answered = await readAnsweredTree(host, patched, { arch: spec.arch }, options);
  const base =
    spec.config.base.kind === 'target'
      ? spec.config.base
      : ({
          kind: 'file',
          file: spec.config.base.path,
          text: decodeLatin1(files.base?.content ?? new Uint8Array()),
        } as const);
  const config = configureTree({ pack: patched, tree: answered.tree, base, requests: asked.requests });
  return {
    ...config,
    diagnostics: [
      ...opened.diagnostics,
      ...asked.diagnostics,
      ...pinned.diagnostics,
      ...answered.diagnostics,
      ...config.diagnostics,
    ],
  };
}

/** The source is fetched for it only when the store has no pack of it. */
async function packOf(opened: OpenSpec, inputs: Inputs, host: Host): Promise<Pack> {
  const { source } = inputs;
  const wanted = {
    sha256: source.sha256,
    ...(source.kind === 'debian' && { debianPackage: source.package }),
  };
  const kept = await keptPack(host, wanted);
  if (kept) return kept.pack;
  await fetchSource(host, inputs, locateFor(host, opened), { epoch: opened.spec.build.epoch });
  return (await storedPack(host, wanted)).pack;
}

async function inputsOf(
  opened: OpenSpec,
  files: Awaited<ReturnType<typeof readSpecFiles>>,
  options: { readonly lock?: string },
  host: Host,
): Promise<{ readonly inputs: Inputs; readonly diagnostics: readonly Diagnostic[] }> {
  const { spec, sources, place } = opened;
  const lock = (await openLock(host, options.lock ?? lockPath(opened.path)))?.lock;
  if (!lock) return pinInputs(host, opened, files, { source: true, packages: true }, undefined);
  const differences = compareWithLock(spec, lock, place);
  if (differences.length > 0) throw new Failure(differences, { sources });
  assertPinned(files, lock.inputs);
  return { inputs: lock.inputs, diagnostics: [] };
}

/**
 * The pack as the patches leave it.
 *
 * @throws Failure with the first patch that does not apply
 */
function patchPack(pack: Pack, patches: readonly LocalFile[]): Pack {
  let files: ReadonlyMap<string, PatchedFile> = new Map(
    [...pack.files].map(([path, { executable }]) => [path, { text: pack.read(path) ?? '', executable }]),
  );
  for (const { path, content } of patches) {
    const text = decodeLatin1(content);
    const applied = applyPatch(files, path, text, isPackFile);
    if (exitOf(applied.diagnostics) !== exitCodes.ok) {
      throw new Failure(applied.diagnostics, { sources: new Map([[path, text]]) });
    }
    files = applied.files;
  }
  if (patches.length === 0) return pack;
  return createPack(
    pack.source,
    [...files].map(([path, { text, executable }]) => [path, { content: encodeLatin1(text), executable }]),
  );
}
