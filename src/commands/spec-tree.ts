import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { makeWords } from '../environment/toolchain.ts';
import type { Host } from '../host/host.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import type { Answers } from '../kconfig/tree-questions.ts';
import { staleParts } from '../spec/compare-lock.ts';
import { configMachine } from '../spec/config-text.ts';
import type { Inputs, Lock, SourceInputs } from '../spec/lock.ts';
import type { WholeReading } from '../kconfig/tree-questions.ts';
import { configureTree, type ConfigParts, type TreeConfig } from './configure-tree.ts';
import { commandCodes } from './codes.ts';
import { takenBase, withBase } from './given-base.ts';
import { askingPack } from './answer-tree.ts';
import { openLock, openSpec, type OpenSpec } from './open-spec.ts';
import type { ProbeOptions } from './options.ts';
import { collectRequests, type Asked } from './requests.ts';
import { besideSpec } from './resolve-inside.ts';
import { blamePatches, patchedPack, type PatchedPack } from './source-pack.ts';
import { lockPath, readSpecFiles, type LocalFiles } from './spec-files.ts';
import { readAnsweredTree } from './tree-answers.ts';
import { knownEnvironment, refusedCompilers } from './tool-minimums.ts';

export interface SpecConfig extends TreeConfig {
  readonly pack: PatchedPack;
  readonly tree: WholeReading;
  readonly asked: Asked;
}

/**
 * The configuration that a spec asks for, worked out without building or running anything of the tree: with the source and
 * the answers of its lock as far as these still go with it.
 *
 * @throws Failure what fetching and reading the source throws, and reading answers
 */
export async function configureSpec(
  opened: OpenSpec,
  files: LocalFiles,
  lock: Lock | undefined,
  options: ProbeOptions,
  host: Host,
): Promise<SpecConfig> {
  const ground = await groundOf(opened, lock, host);
  const pack = await patchedPack(host, opened, ground.inputs, files.patches, {
    expected: ground.pack,
  });
  const request = makeWords(opened.spec);
  const answered = await readAnsweredTree(host, askingPack(pack), request, options, ground.probes).catch(
    (error: unknown) => {
      // with a compiler that the tree refuses there is nothing to answer
      const refused = refusedCompilers(opened.spec, pack.pack, knownEnvironment(opened.spec, []));
      throw refused.length > 0 && error instanceof Failure ? new Failure(refused, { cause: error }) : error;
    },
  );
  const config = configureOn(opened, await withBase(host, opened, files, ground.base), pack, answered.tree);
  return {
    ...config,
    diagnostics: [
      ...ground.diagnostics,
      ...takenBase(files),
      ...pack.diagnostics,
      ...answered.diagnostics,
      ...config.diagnostics,
    ],
  };
}

export interface ReadSpecConfig {
  readonly opened: OpenSpec;
  readonly made: SpecConfig;
  /** All that is to be said so far. */
  readonly diagnostics: readonly Diagnostic[];
  /** The text of each file that they name. */
  readonly sources: ReadonlyMap<string, string>;
  /** The files that it was made of, as whoever named the spec would name them. */
  readonly readFrom: readonly string[];
}

/** The same from the spec's name on, whether its lock goes with it or not. */
export async function configureSpecFile(
  options: ProbeOptions & { readonly spec: string; readonly lock?: string },
  host: Host,
): Promise<ReadSpecConfig> {
  const opened = await openSpec(host, options.spec);
  const files = await readSpecFiles(host, opened);
  const lockFile = options.lock ?? lockPath(opened.path);
  const lock = await openLock(host, lockFile);
  const made = await configureSpec(opened, files, lock?.lock, options, host);
  const { asked } = made;
  return {
    opened,
    made,
    diagnostics: [...opened.diagnostics, ...asked.diagnostics, ...made.diagnostics],
    sources: asked.sources,
    readFrom: [
      opened.path,
      lockFile,
      ...(options.probes === undefined ? [] : [options.probes]),
      ...[...(files.base ? [files.base] : []), ...files.fragments, ...files.patches].map((file) =>
        besideSpec(opened.path, file.path),
      ),
    ],
  };
}

/**
 * The configuration that a spec asks for on a tree that has been read.
 *
 * @param files with the base, where it is out of a package
 * @throws Failure `command/version-differs`, and what putting a configuration together throws
 */
export function configureOn(
  opened: OpenSpec,
  files: LocalFiles,
  pack: PatchedPack,
  tree: WholeReading,
): SpecConfig {
  assertVersion(opened, tree.make.kernelVersion);
  const asked = collectRequests(opened, files, pack.pack);
  const start = baseOf(opened, files);
  const blamed = (diagnostics: readonly Diagnostic[]): readonly Diagnostic[] =>
    blamePatches(diagnostics, opened, files.patches);
  try {
    const config = configureTree({ files: pack.pack, tree, base: start, requests: asked.requests });
    return { ...config, diagnostics: blamed(config.diagnostics), pack, tree, asked };
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    throw new Failure(blamed(error.diagnostics), { cause: error.cause, sources: error.sources });
  }
}

/** A tarball or a tree says itself which kernel it is: not what the spec says of it. */
function assertVersion({ spec, place, sources }: OpenSpec, found: string): void {
  const { version, source } = spec.kernel;
  if (source.kind === 'debian' || found === version || found.startsWith(`${version}.`)) return;
  throw new Failure(
    commandCodes.report('command/version-differs', {
      message: `the source is Linux ${quoted(found)}, and the spec says ${quoted(version)}`,
      span: place(['kernel', 'version']),
      help: `Write version: "${found}", or name the source that was meant.`,
    }),
    { sources },
  );
}

function baseOf({ spec, place, sources }: OpenSpec, files: LocalFiles): ConfigParts['base'] {
  const { base } = spec.config;
  if (base.kind === 'target') return { ...base, named: { span: place(['config', 'base']), sources } };
  if (!files.base) throw new Error('the base was not read');
  const { name, content, span } = files.base;
  return { kind: 'file', file: name, text: decodeLatin1(content), named: { span, sources } };
}

interface Ground {
  readonly inputs: SourceInputs;
  /** With a base out of a package. */
  readonly base: Pick<Inputs, 'origins' | 'base'>;
  /** SHA-256 of the pack that the lock was made with. */
  readonly pack?: string | undefined;
  readonly probes?: Answers | undefined;
  readonly diagnostics: readonly Diagnostic[];
}

async function groundOf(opened: OpenSpec, lock: Lock | undefined, host: Host): Promise<Ground> {
  const { base } = opened.spec.config;
  const packaged = base.kind === 'debian' ? configMachine(base.config) : undefined;
  const stale = lock && staleParts(opened.spec, lock);
  const locked = stale?.source ? undefined : lock;
  const lockedBase = packaged === undefined ? { origins: {} } : stale?.base ? undefined : lock?.inputs;
  const known = {
    pack: locked?.answers?.pack,
    probes: locked?.answers && !stale?.packages ? new Map(Object.entries(locked.answers.probes)) : undefined,
  };
  if (locked && lockedBase) return { ...known, inputs: locked.inputs, base: lockedBase, diagnostics: [] };
  // loaded only here: with a lock that goes with the spec nothing is looked for elsewhere
  const { archiveReader, pinPackagedBase, pinSource } = await import('./pin-inputs.ts');
  const archive = archiveReader(host, opened);
  const { diagnostics, ...inputs } = locked
    ? { ...locked.inputs, diagnostics: [] }
    : await pinSource(host, opened, archive);
  return { ...known, inputs, base: lockedBase ?? (await packagedBase()), diagnostics };

  /** As the archive has it now. */
  async function packagedBase(): Promise<Ground['base']> {
    const { origins } = await archive(packaged);
    return { origins, base: await pinPackagedBase(host, opened, archive) };
  }
}
