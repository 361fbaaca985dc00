import { exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { shellTyped } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { findLocalSource } from '../source/locate.ts';
import { compareWithLock, staleParts } from '../spec/compare-lock.ts';
import type { Lock } from '../spec/lock.ts';
import { adviseVersion } from './advise-version.ts';
import { commandCodes } from './codes.ts';
import type { CommandResult } from './command.ts';
import { examineToolchain } from './examine-toolchain.ts';
import { explainVerdicts } from './explain-verdicts.ts';
import { alteredAnswers, followingAnswers } from './following-answers.ts';
import { openLock, openSpec, type OpenSpec } from './open-spec.ts';
import type { CheckOptions } from './options.ts';
import { changedFiles, changedPatches } from './pinned-files.ts';
import { untriedFiles } from './source-pack.ts';
import type { PatchSummary } from './patched-tree.ts';
import { locateFor, lockPath, readSpecFiles, type LocalFiles, type LocalPatch } from './spec-files.ts';
import { configureSpec } from './spec-tree.ts';
import { knownEnvironment, minimumsOf } from './tool-minimums.ts';

export interface CheckValue {
  readonly name: string;
  /** There is a lock, and it is complete. */
  readonly pinned: boolean;
  /** What the environment answers is assumed: no lock that goes with this spec has its answers. */
  readonly assumed: boolean;
  readonly verdicts: readonly Verdict[];
  /** In the order in which they are applied; absent where what they touch was not at hand. */
  readonly patches?: readonly PatchSummary[];
}

/**
 * `quern check`: reads the spec and all that it names, works its configuration out, and says what became of each request
 * and what else would go wrong. Nothing is run; the source is fetched when the store has nothing of it.
 */
export async function check(options: CheckOptions, host: Host): Promise<CommandResult<CheckValue>> {
  const opened = await openSpec(host, options.spec);
  const { spec } = opened;
  const files = await readSpecFiles(host, opened);
  const lock = (await openLock(host, options.lock ?? lockPath(opened.path)))?.lock;
  await assertLocated(host, opened, lock);
  const answers = lock?.answers;
  const made = await configureSpec(opened, files, lock, options, host);
  const { asked } = made;
  const packages = lock && !staleParts(spec, lock).packages ? lock.inputs.packages : [];
  const environment = knownEnvironment(spec, packages);
  const minimums = minimumsOf(spec, made.pack.pack, made.tree.make);
  const following = followingAnswers(spec, made);
  const stale = lock ? staleLock(opened, lock, files) : [];
  const fromLock = answers !== undefined && stale.length === 0 && !options.probeHost && !options.probes;
  const diagnostics: readonly Diagnostic[] = [
    ...opened.diagnostics,
    ...(answers ? [] : [notPinned(options.spec)]),
    ...stale,
    ...(fromLock ? alteredAnswers(answers, following.answers) : []),
    ...(answers && stale.length === 0
      ? []
      : patchesUntried(opened, files.patches, made.pack.tree !== undefined)),
    ...asked.diagnostics,
    ...made.diagnostics,
    ...explainVerdicts(made.verdicts, asked, (one) => adviseVersion(one, environment, minimums)),
    ...examineToolchain(spec, environment, made, fromLock),
    ...following.diagnostics,
  ];
  const assumed = made.diagnostics.some(({ code }) => code === 'command/answers-assumed');
  const patches = made.pack.tree?.patches;
  const value = {
    name: spec.name,
    pinned: answers !== undefined,
    assumed,
    verdicts: made.verdicts,
    ...(patches && { patches }),
  };
  return {
    exit: exitOf(diagnostics),
    diagnostics,
    value,
    text: describeCheck(value),
    sources: asked.sources,
  };
}

/** A source on this machine is there, or else pinned and in the store. */
async function assertLocated(host: Host, opened: OpenSpec, lock: Lock | undefined): Promise<void> {
  const { source } = opened.spec.kernel;
  if (source.kind !== 'tarball' && source.kind !== 'tree') return;
  const locate = locateFor(host, opened);
  const pin = lock?.inputs.source;
  if (pin?.kind === source.kind && pin.path === source.path) await findLocalSource(host, pin, locate);
  else await locate(source.path, source.kind === 'tree' ? 'folder' : 'file');
}

function staleLock({ spec, place }: OpenSpec, lock: Lock, files: LocalFiles): readonly Diagnostic[] {
  const differing = compareWithLock(spec, lock, place);
  const listed = differing.length === 0 ? changedPatches(files, lock.inputs) : [];
  return [...differing, ...listed, ...changedFiles(files, lock.inputs)];
}

function notPinned(spec: string): Diagnostic {
  return commandCodes.report('command/not-pinned', {
    message: 'the spec has no complete lock: another day it may come to another kernel',
    help: `quern pin ${shellTyped(spec)}`,
  });
}

function patchesUntried(
  opened: OpenSpec,
  patches: readonly LocalPatch[],
  tried: boolean,
): readonly Diagnostic[] {
  const count = tried ? 0 : untriedFiles(opened, patches);
  if (count === 0) return [];
  return [
    commandCodes.report('command/patches-untried', {
      message: `the patches touch ${count} ${count === 1 ? 'file' : 'files'} that the configuration does not hang on: whether they apply there has not been tried`,
      help: `quern pin ${shellTyped(opened.path)} tries it.`,
    }),
  ];
}

function describeCheck({ name, verdicts }: CheckValue): string {
  const kept = verdicts.filter(({ verdict }) => verdict === 'kept').length;
  return `${name}: ${kept} of ${verdicts.length} requests would be kept`;
}
