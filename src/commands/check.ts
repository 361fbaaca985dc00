import { exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { compareWithLock } from '../spec/compare-lock.ts';
import { commandCodes } from './codes.ts';
import type { CommandResult } from './command.ts';
import { explainVerdicts } from './explain-verdicts.ts';
import { alteredAnswers, followingAnswers } from './following-answers.ts';
import { openLock, openSpec } from './open-spec.ts';
import type { CheckOptions } from './options.ts';
import { changedFiles } from './pinned-files.ts';
import { collectRequests } from './requests.ts';
import { untriedFiles } from './source-pack.ts';
import { locateFor, lockPath, readSpecFiles, type LocalFile } from './spec-files.ts';
import { configureSpec } from './spec-tree.ts';

export interface CheckValue {
  readonly name: string;
  /** There is a lock, and it is complete. */
  readonly pinned: boolean;
  /** What the environment answers is assumed: no lock that goes with this spec has its answers. */
  readonly assumed: boolean;
  readonly verdicts: readonly Verdict[];
}

/**
 * `quern check`: reads the spec and all that it names, works its configuration out, and says what became of each request
 * and what else would go wrong. Nothing is run; the source is fetched when the store has nothing of it.
 */
export async function check(options: CheckOptions, host: Host): Promise<CommandResult<CheckValue>> {
  const opened = await openSpec(host, options.spec);
  const { spec, place } = opened;
  const files = await readSpecFiles(host, opened);
  const { source } = spec.kernel;
  if (source.kind === 'tarball' || source.kind === 'tree') {
    await locateFor(host, opened)(source.path, source.kind === 'tree' ? 'folder' : 'file');
  }
  const asked = collectRequests(opened, files);
  const lock = (await openLock(host, options.lock ?? lockPath(opened.path)))?.lock;
  const answers = lock?.answers;
  const made = await configureSpec(opened, files, asked, lock, options, host);
  const following = followingAnswers(spec, made);
  const stale = lock ? [...compareWithLock(spec, lock, place), ...changedFiles(files, lock.inputs)] : [];
  const fromLock = answers !== undefined && stale.length === 0 && !options.probeHost && !options.probes;
  const diagnostics: readonly Diagnostic[] = [
    ...opened.diagnostics,
    ...(answers ? [] : [notPinned(options.spec)]),
    ...stale,
    ...(fromLock ? alteredAnswers(answers, following.answers) : []),
    ...(answers && stale.length === 0 ? [] : patchesUntried(files.patches, options.spec)),
    ...asked.diagnostics,
    ...made.diagnostics,
    ...explainVerdicts(made.verdicts, asked),
    ...following.diagnostics,
  ];
  const assumed = made.diagnostics.some(({ code }) => code === 'command/answers-assumed');
  const value = { name: spec.name, pinned: answers !== undefined, assumed, verdicts: made.verdicts };
  return {
    exit: exitOf(diagnostics),
    diagnostics,
    value,
    text: describeCheck(value),
    sources: asked.sources,
  };
}

function notPinned(spec: string): Diagnostic {
  return commandCodes.report('command/not-pinned', {
    message: 'the spec has no complete lock: another day it may come to another kernel',
    help: `quern pin ${spec}`,
  });
}

function patchesUntried(patches: readonly LocalFile[], spec: string): readonly Diagnostic[] {
  const count = untriedFiles(patches);
  if (count === 0) return [];
  return [
    commandCodes.report('command/patches-untried', {
      message: `the patches touch ${count} ${count === 1 ? 'file' : 'files'} that the configuration does not hang on: whether they apply there has not been tried`,
      help: `quern pin ${spec} tries it.`,
    }),
  ];
}

function describeCheck({ name, verdicts }: CheckValue): string {
  const kept = verdicts.filter(({ verdict }) => verdict === 'kept').length;
  return `${name}: ${kept} of ${verdicts.length} requests would be kept`;
}
