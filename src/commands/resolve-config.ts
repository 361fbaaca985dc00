import { readFile } from 'node:fs/promises';
import { isDeepStrictEqual } from 'node:util';

import { findEngine } from '../container/engine.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import type { Request, Verdict } from '../kconfig/requests.ts';
import { fetchInputs } from '../source/fetch-inputs.ts';
import type { Answers, Inputs } from '../spec/lock.ts';
import { askEnvironment } from './ask-environment.ts';
import { commandCodes } from './codes.ts';
import { examineConfig } from './examine-config.ts';
import type { OpenSpec } from './open-spec.ts';
import type { LocalFiles } from './spec-files.ts';

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
  pinned: { readonly inputs: Inputs; readonly answers: Answers | undefined },
): Promise<Resolved> {
  const { spec } = opened;
  const { inputs, answers } = pinned;
  if (answers && (await host.store.has(answers.config))) {
    const config = await readFile(host.store.path(answers.config));
    const found = { config, kernelVersion: answers.kernelVersion, missingKeys: [] };
    return { answers, config, ...examineConfig(spec, requests, found, answers.epoch) };
  }
  // before gigabytes are fetched for it
  const engine = await findEngine(host);
  await fetchInputs(host, inputs, opened.folder, { epoch: spec.build.epoch });
  const found = await askEnvironment(host, engine, spec, inputs, files, requests);
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
