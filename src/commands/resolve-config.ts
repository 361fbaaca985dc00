import { readFile } from 'node:fs/promises';
import { isDeepStrictEqual } from 'node:util';

import type { EngineName } from '../container/engine-names.ts';
import { findEngine } from '../container/engine.ts';
import { checkRoom } from '../container/preflight.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { diskKilobytes } from '../kit/estimate.ts';
import type { Request, Verdict } from '../kconfig/requests.ts';
import { fetchInputs } from '../source/fetch-inputs.ts';
import type { Answers, Inputs } from '../spec/lock.ts';
import { askEnvironment } from './ask-environment.ts';
import { commandCodes } from './codes.ts';
import { examineConfig } from './examine-config.ts';
import type { OpenSpec } from './open-spec.ts';
import { locateFor, type LocalFiles } from './spec-files.ts';

export interface Resolved {
  readonly answers: Answers;
  /** The resolved `.config`. */
  readonly config: Uint8Array;
  readonly verdicts: readonly Verdict[];
  readonly diagnostics: readonly Diagnostic[];
}

/**
 * The resolved configuration and the answers that go with it. When the lock has answers already and the store still
 * holds their configuration nothing is run; otherwise the environment is asked, and must say what the lock says.
 *
 * @throws Failure `command/answers-changed`, and what fetching and asking throw
 */
export async function resolveConfig(
  host: Host,
  opened: OpenSpec,
  files: LocalFiles,
  requests: readonly Request[],
  pinned: {
    readonly inputs: Inputs;
    readonly answers: Answers | undefined;
    readonly engine?: EngineName | undefined;
  },
): Promise<Resolved> {
  const { spec } = opened;
  const { inputs, answers } = pinned;
  if (answers && (await host.store.has(answers.config))) {
    const config = await readFile(host.store.path(answers.config));
    const found = { config, kernelVersion: answers.kernelVersion, missingKeys: [] };
    return { answers, config, ...examineConfig(spec, requests, found, answers.epoch) };
  }
  // said before gigabytes are fetched for it
  const engine = await findEngine(host, pinned.engine);
  const room = await checkRoom(engine, diskKilobytes(''), 1);
  if (exitOf(room) !== exitCodes.ok) throw new Failure(room);
  await fetchInputs(host, inputs, locateFor(host, opened), { epoch: spec.build.epoch });
  const found = await askEnvironment(host, engine, spec, inputs, files, requests);
  assertVersion(opened, found.kernelVersion);
  const epoch = spec.build.epoch ?? found.newest;
  const examined = examineConfig(spec, requests, found, epoch);
  const { sha256 } = await host.store.add([found.config]);
  const given: Answers = {
    toolchain: found.toolchain,
    kernelVersion: found.kernelVersion,
    kernelRelease: found.kernelRelease,
    versionString: examined.versionString,
    epoch,
    config: sha256,
  };
  if (answers) assertSame(answers, given);
  return {
    answers: given,
    config: found.config,
    verdicts: examined.verdicts,
    diagnostics: examined.diagnostics,
  };
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

function assertSame(pinned: Answers, given: Answers): void {
  const names = ['toolchain', 'kernelVersion', 'kernelRelease', 'versionString', 'epoch', 'config'] as const;
  const differing = names.filter((name) => !isDeepStrictEqual(pinned[name], given[name]));
  if (differing.length === 0) return;
  throw new Failure(
    commandCodes.report('command/answers-changed', {
      message: `the environment gives other answers than those in the lock: ${differing.join(', ')}`,
      notes: differing.map(
        (name) =>
          `${name}: the lock has ${JSON.stringify(pinned[name])}, the environment says ${JSON.stringify(given[name])}.`,
      ),
      help: 'Pin them again (quern pin --refresh answers) and look at what changes.',
    }),
  );
}
