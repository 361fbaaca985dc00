/**
 * The packages of an environment follow from the configuration, and the configuration from what the environment answers.
 * It is no circle: what answers is decided by what is asked for (`probed` in environment/needs.ts), which no answer
 * changes; for all other packages the configuration is looked at, and these answer nothing. What the configuration will be
 * is guessed first, so that most of the time one environment is made and no second.
 */
import { isDeepStrictEqual } from 'node:util';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Need } from '../environment/need.ts';
import { makeWords } from '../environment/toolchain.ts';
import type { Host } from '../host/host.ts';
import { assumedAnswers, likelyAnswer } from '../kconfig/assumed-answers.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import { makeEnvironment } from '../kconfig/make-environment.ts';
import type { Answers } from '../kconfig/tree-questions.ts';
import type { Inputs } from '../spec/lock.ts';
import type { Spec } from '../spec/spec.ts';
import { askingPack, keptTree, type Ask } from './answer-tree.ts';
import { askedOptions } from './asked-options.ts';
import { commandCodes } from './codes.ts';
import { configNeeds } from './config-needs.ts';
import { withBase } from './given-base.ts';
import type { OpenSpec } from './open-spec.ts';
import { hasPackage, type PinnedInputs, type Pinning } from './pin-inputs.ts';
import { collectRequests } from './requests.ts';
import type { Resolved } from './resolve-config.ts';
import { patchedPack, type PatchedPack } from './source-pack.ts';
import type { LocalFiles } from './spec-files.ts';
import { configureOn } from './spec-tree.ts';
import { knownEnvironment, refusedCompilers } from './tool-minimums.ts';

export interface Settled {
  readonly pinned: PinnedInputs;
  readonly resolved: Resolved;
  /** What the environment has beside the Essential packages, and why. */
  readonly needs: readonly Need[];
}

/** A spec that has been read, with its files. */
export interface ReadSpec {
  readonly opened: OpenSpec;
  readonly files: LocalFiles;
}

/** Guess, environment, configuration, and once more where the guess was wrong; trees of today take no third. */
const mostRounds = 4;

/**
 * Inputs and configuration that go with each other.
 *
 * @param answers of an earlier environment, for the guess
 * @param resolve works the configuration out in an environment of these inputs
 * @throws Failure `command/tool-too-old`, `command/packages-unsettled`, and what pinning and resolving throw
 */
export async function settleEnvironment(
  host: Host,
  read: ReadSpec,
  pinning: Pinning,
  answers: Answers | undefined,
  resolve: (pinned: PinnedInputs) => Promise<Resolved>,
): Promise<Settled> {
  const { spec } = read.opened;
  const pack = await patchedPack(host, read.opened, pinning.source, read.files.patches);
  const refused = refusedCompilers(spec, pack.pack, knownEnvironment(spec, []));
  if (refused.length > 0) throw new Failure(refused);
  const files = await withBase(host, read.opened, read.files, pinning.source);
  const requests = collectRequests(read.opened, files, pack.pack);
  const asked = askedOptions(spec, files, requests, pack.pack);
  const guessed = await guessConfig(host, { ...read, files }, pack, answers);
  let pinned = await pinning.withPackages(configNeeds(spec, asked, guessed, pack));
  for (let round = 0; round < mostRounds; round += 1) {
    const resolved = await resolve(pinned);
    const needs = configNeeds(spec, asked, decodeLatin1(resolved.config), pack);
    const next = await pinning.withPackages(needs);
    if (isDeepStrictEqual(next.inputs, pinned.inputs)) return { pinned, resolved, needs };
    pinned = next;
  }
  throw new Failure(
    commandCodes.report('command/packages-unsettled', {
      message: `after ${mostRounds} rounds, the configuration still takes other packages than those that it was worked out with`,
      help: 'A patch may let the tree ask for programs in a way of its own; tell us which tree it is.',
    }),
  );
}

/** The packages that the configuration takes and the environment of a lock does not have. */
export function missingNeeds(
  spec: Spec,
  { config, pack, files, asked }: Pick<Resolved, 'config' | 'pack' | 'files' | 'asked'>,
  inputs: Pick<Inputs, 'image' | 'packages'>,
): readonly Need[] {
  const options = askedOptions(spec, files, asked, pack.pack);
  return configNeeds(spec, options, decodeLatin1(config), pack).filter(
    (need) => !hasPackage(inputs, need.package),
  );
}

/** The `.config` as it will be most likely; empty where not even that can be said. */
async function guessConfig(
  host: Host,
  { opened, files }: ReadSpec,
  pack: PatchedPack,
  answers: Answers | undefined,
): Promise<string> {
  const words = makeWords(opened.spec);
  const { kernelVersion } = makeEnvironment(pack.pack, words, { answer: () => undefined });
  const assumed = assumedAnswers(kernelVersion);
  const guess: Ask = ({ commands }) =>
    Promise.resolve(new Map(commands.map((command) => [command, likelyAnswer(assumed, words, command)])));
  try {
    const tree = await keptTree(host, askingPack(pack), words, guess, answers ?? assumed);
    return configureOn(opened, files, pack, tree).text;
  } catch (error) {
    // what is wrong is said by whoever works the configuration out in earnest
    if (error instanceof Failure) return '';
    throw error;
  }
}
