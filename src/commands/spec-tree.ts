import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { makeWords } from '../environment/toolchain.ts';
import type { Host } from '../host/host.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import type { Answers } from '../kconfig/tree-questions.ts';
import { staleParts } from '../spec/compare-lock.ts';
import type { Lock, SourceInputs } from '../spec/lock.ts';
import type { WholeReading } from '../kconfig/tree-questions.ts';
import { configureTree, type TreeConfig } from './configure-tree.ts';
import { askingPack } from './answer-tree.ts';
import { openLock, openSpec, type OpenSpec } from './open-spec.ts';
import type { ProbeOptions } from './options.ts';
import { pinSource } from './pin-inputs.ts';
import { collectRequests, type Asked } from './requests.ts';
import { besideSpec } from './resolve-inside.ts';
import { blamePatches, patchedPack, type PatchedPack } from './source-pack.ts';
import { lockPath, readSpecFiles, type LocalFiles } from './spec-files.ts';
import { readAnsweredTree } from './tree-answers.ts';

export interface SpecConfig extends TreeConfig {
  readonly pack: PatchedPack;
  readonly tree: WholeReading;
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
  asked: Asked,
  lock: Lock | undefined,
  options: ProbeOptions,
  host: Host,
): Promise<SpecConfig> {
  const ground = await groundOf(opened, lock, host);
  const pack = await patchedPack(host, opened, ground.inputs, files.patches, {
    expected: ground.pack,
  });
  const request = makeWords(opened.spec);
  const answered = await readAnsweredTree(host, askingPack(pack), request, options, ground.probes);
  const config = configureOn(opened, files, asked, pack, answered.tree);
  return {
    ...config,
    diagnostics: [...ground.diagnostics, ...pack.diagnostics, ...answered.diagnostics, ...config.diagnostics],
  };
}

export interface ReadSpecConfig {
  readonly opened: OpenSpec;
  readonly asked: Asked;
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
  const asked = collectRequests(opened, files);
  const lockFile = options.lock ?? lockPath(opened.path);
  const lock = await openLock(host, lockFile);
  const made = await configureSpec(opened, files, asked, lock?.lock, options, host);
  return {
    opened,
    asked,
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

/** The configuration that a spec asks for on a tree that has been read. */
export function configureOn(
  opened: OpenSpec,
  files: LocalFiles,
  { requests }: Asked,
  pack: PatchedPack,
  tree: WholeReading,
): SpecConfig {
  const { spec, path, sources } = opened;
  const { base } = spec.config;
  const start =
    base.kind === 'target'
      ? base
      : ({
          kind: 'file',
          file: besideSpec(path, base.path),
          text: decodeLatin1(files.base?.content ?? new Uint8Array()),
          named: { span: files.base?.span, sources },
        } as const);
  const blamed = (diagnostics: readonly Diagnostic[]): readonly Diagnostic[] =>
    blamePatches(diagnostics, opened, files.patches);
  try {
    const config = configureTree({ files: pack.pack, tree, base: start, requests });
    return { ...config, diagnostics: blamed(config.diagnostics), pack, tree };
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    throw new Failure(blamed(error.diagnostics), { cause: error.cause, sources: error.sources });
  }
}

interface Ground {
  readonly inputs: SourceInputs;
  /** SHA-256 of the pack that the lock was made with. */
  readonly pack?: string | undefined;
  readonly probes?: Answers | undefined;
  readonly diagnostics: readonly Diagnostic[];
}

async function groundOf(opened: OpenSpec, lock: Lock | undefined, host: Host): Promise<Ground> {
  const stale = lock && staleParts(opened.spec, lock);
  if (!lock || stale?.source) {
    const { diagnostics, ...inputs } = await pinSource(host, opened);
    return { inputs, diagnostics };
  }
  const { inputs, answers } = lock;
  return {
    inputs,
    pack: answers?.pack,
    probes: answers && !stale?.packages ? new Map(Object.entries(answers.probes)) : undefined,
    diagnostics: [],
  };
}
