import { resolve } from 'node:path';
import { isDeepStrictEqual } from 'node:util';

import { findEngine } from '../container/engine.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { architectureFacts, builtArchitectures } from '../environment/architectures.ts';
import type { Need } from '../environment/need.ts';
import type { Host } from '../host/host.ts';
import { writeWhole } from '../host/output-folder.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { moduleVermagic } from '../kit/artefacts.ts';
import type { KitPatches } from '../kit/patches.ts';
import { staleParts, type StaleParts } from '../spec/compare-lock.ts';
import type { Answers, ImagePin, Inputs, Lock } from '../spec/lock.ts';
import { sourceFact } from '../spec/source-text.ts';
import { isFetched } from '../spec/spec.ts';
import { formatLock } from '../spec/write-lock.ts';
import { commandCodes } from './codes.ts';
import type { CommandResult } from './command.ts';
import { keepBase } from './given-base.ts';
import { openLock, openSpec, type OpenSpec } from './open-spec.ts';
import type { PinOptions, RefreshKind } from './options.ts';
import { startPinning } from './pin-inputs.ts';
import { resolveConfig } from './resolve-config.ts';
import { settleEnvironment } from './settle-environment.ts';
import { lockPath, readSpecFiles, type LocalFiles } from './spec-files.ts';

export interface PinValue {
  readonly lock: string;
  /**
   * How many the environment is made of.
   *
   * @asType integer
   */
  readonly packages: number;
  /** Those of them that the kernel takes, each with what it is for; the others are what these depend on. */
  readonly needs: readonly Need[];
  readonly source: string;
  /** What the environment begins with, where it begins with an image: its name, and the digest of its manifest. */
  readonly image?: string;
  readonly kernelRelease: string;
  readonly versionString: string;
  /** What its modules say they are for; absent where there are none. The hash of a drawn seed is not part of it. */
  readonly vermagic?: string;
  readonly verdicts: readonly Verdict[];
}

/**
 * `quern pin`: writes what is missing in the lock and leaves the rest. First the inputs, by digest, from signed
 * indexes; then the answers, which the environment made of these inputs gives without network.
 */
export async function pin(options: PinOptions, host: Host): Promise<CommandResult<PinValue>> {
  const opened = await openSpec(host, options.spec);
  const { diagnostics, value } = await pinSpec(opened, options, host);
  return {
    exit: exitOf(diagnostics),
    diagnostics: [...opened.diagnostics, ...diagnostics],
    value: value.summary,
    text: describePin(value.summary, exitOf(diagnostics) === exitCodes.ok),
    sources: value.sources,
  };
}

export interface Pinned {
  readonly lock: Lock & { readonly answers: Answers };
  readonly files: LocalFiles;
  readonly patches: KitPatches;
  readonly config: Uint8Array;
  readonly summary: PinValue;
  /** The texts that diagnostics point into. */
  readonly sources: ReadonlyMap<string, string>;
}

/** Pins a spec that has been read, for `pin` and for whatever needs a lock on the way. */
export async function pinSpec(
  opened: OpenSpec,
  options: PinOptions,
  host: Host,
): Promise<{ readonly diagnostics: readonly Diagnostic[]; readonly value: Pinned }> {
  const { spec } = opened;
  assertCompiler(opened);
  const files = await readSpecFiles(host, opened);
  const path = options.lock ?? lockPath(opened.path);
  const earlier = (await openLock(host, path))?.lock;
  const stale = staleOf(earlier, spec, options.refresh);
  const askAgain = options.refresh !== undefined || stale.source || stale.packages || !earlier?.answers;
  // said before anything is fetched
  if (askAgain) await findEngine(host, options.engine);

  const keptBase = await keepBase(
    host,
    opened,
    files,
    options.refresh === 'all' ? undefined : earlier?.inputs,
  );
  const pinning = await startPinning(host, opened, files, stale, earlier?.inputs);
  const probes = stale.packages ? undefined : earlier?.answers?.probes;
  const { pinned, resolved, needs } = await settleEnvironment(
    host,
    { opened, files },
    pinning,
    probes && new Map(Object.entries(probes)),
    async ({ inputs }) => {
      const same = isDeepStrictEqual(earlier?.inputs, inputs);
      // Half a lock is better than none, and worse than a whole one.
      if (!earlier?.answers) await writeLock(host, path, { lock: 1, spec, inputs });
      return resolveConfig(host, opened, files, {
        inputs,
        answers: stale.answers || !same ? undefined : earlier?.answers,
        known: !askAgain && sameQuestions(earlier.inputs, inputs) ? earlier.answers : undefined,
        engine: options.engine,
      });
    },
  );
  const { inputs } = pinned;
  const diagnostics = [...keptBase, ...pinned.diagnostics, ...resolved.diagnostics, ...treeTimes(spec)];
  // A lock with answers is one that can be built: what is wrong now is asked again, and said again, by the next command.
  const lock = { lock: 1, spec, inputs, answers: resolved.answers } as const;
  if (exitOf(diagnostics) === exitCodes.ok) await writeLock(host, path, lock);
  const magic = moduleVermagic(spec.arch, decodeLatin1(resolved.config), resolved.answers.kernelRelease);
  return {
    diagnostics,
    value: {
      lock,
      files,
      patches: resolved.patches,
      config: resolved.config,
      sources: resolved.asked.sources,
      summary: {
        lock: path,
        packages: inputs.packages.length,
        needs,
        source: describeSource(inputs),
        ...(inputs.image && { image: describeImage(inputs.image) }),
        kernelRelease: resolved.answers.kernelRelease,
        versionString: resolved.answers.versionString,
        ...(magic && { vermagic: magic.text }),
        verdicts: resolved.verdicts,
      },
    },
  };
}

/** @throws Failure `command/no-compiler` */
function assertCompiler({ spec, place, sources }: OpenSpec): void {
  if (architectureFacts(spec.arch).build) return;
  throw new Failure(
    commandCodes.report('command/no-compiler', {
      message: `Quern has no compiler that makes kernels for ${spec.arch}`,
      span: place(['arch']),
      notes: [`It builds for ${builtArchitectures.join(', ')}, with Debian's compilers.`],
      help: '`quern check` and `quern config` work with the answers of a compiler of yours: --probe-host with CROSS_COMPILE set, or --probes FILE.',
    }),
    { sources },
  );
}

/** Without a time in the spec a tree has those of its files, which a copy of it need not have. */
function treeTimes(spec: Lock['spec']): readonly Diagnostic[] {
  if (spec.kernel.source.kind !== 'tree' || spec.build.epoch !== undefined) return [];
  return [
    commandCodes.report('command/tree-times', {
      message: 'the digest of the tree hangs on the times of its files',
      notes: ['A copy of the tree on another machine, with other times, will not match this lock.'],
      help: 'Give the spec a time (build.epoch), which every file of the tree is then packed with.',
    }),
  ];
}

/** Tree and environment are the same, and so are the questions and the answers. */
function sameQuestions(one: Inputs, other: Inputs): boolean {
  const parts = ['source', 'patches', 'image', 'packages'] as const;
  return parts.every((part) => isDeepStrictEqual(one[part], other[part]));
}

/** What must be pinned anew: what the spec's changes made stale, and what the caller wants fresh. */
function staleOf(
  earlier: Lock | undefined,
  spec: Lock['spec'],
  refresh: RefreshKind | undefined,
): Pick<StaleParts, 'source' | 'base' | 'image' | 'packages' | 'answers'> & {
  /** What of a source may have moved since: keys of signers, and tags. */
  readonly keys: boolean;
} {
  const keys = refresh === 'source' || refresh === 'all';
  const all = { source: true, base: true, image: true, packages: true, answers: true, keys };
  if (earlier === undefined || refresh === 'all') return all;
  const stale = staleParts(spec, earlier);
  return {
    source: stale.source || refresh === 'source',
    base: stale.base,
    image: stale.image || refresh === 'packages',
    packages: stale.packages || refresh === 'packages',
    answers: stale.answers || refresh !== undefined,
    keys,
  };
}

async function writeLock(host: Host, path: string, lock: Lock): Promise<void> {
  await writeWhole(resolve(host.cwd, path), formatLock(lock));
}

function describeSource({ source }: Inputs): string {
  if (source.kind === 'debian') return `${source.package} ${source.version}`;
  const { path } = sourceFact(source);
  const signer = isFetched(source) ? source.signature?.signer : undefined;
  return signer === undefined ? path : `${path}, signed by ${signer}`;
}

function describeImage({ registry, repository, manifest }: ImagePin): string {
  return `${registry}/${repository}@sha256:${manifest}`;
}

function describePin(value: PinValue, complete: boolean): string {
  const kept = value.verdicts.filter(({ verdict }) => verdict === 'kept').length;
  const widest = Math.max(...value.needs.map((need) => need.package.length));
  return [
    complete
      ? `pinned in ${value.lock}`
      : `not pinned in ${value.lock}: what is wrong has to be mended first`,
    `  source       ${value.source}`,
    ...(value.image === undefined ? [] : [`  image        ${value.image}`]),
    `  environment  ${value.packages} packages, because of`,
    ...value.needs.map((need) => `    ${need.package.padEnd(widest)}  ${need.because}`),
    `  kernel       ${value.kernelRelease}`,
    `  build stamp  ${value.versionString}`,
    ...(value.vermagic === undefined ? [] : [`  vermagic     ${value.vermagic.trimEnd()}`]),
    `  requests     ${kept} of ${value.verdicts.length} kept`,
  ].join('\n');
}
