import { availableParallelism } from 'node:os';

import { resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { assumedAnswers } from '../kconfig/assumed-answers.ts';
import { makeEnvironment, type MakeRequest } from '../kconfig/make-environment.ts';
import type { Answers, WholeReading } from '../kconfig/tree-questions.ts';
import { renderProbeScript } from '../kit/probe-kit.ts';
import { loadProbes, saveProbes } from '../source/probe-file.ts';
import { askHost } from '../source/probe-host.ts';
import { answerTree, keptTree, type Ask, type KeptPack } from './answer-tree.ts';
import { commandCodes } from './codes.ts';
import { readKitTemplates } from './kit-templates.ts';
import type { ProbeOptions } from './options.ts';

export interface AnsweredTree {
  readonly tree: WholeReading;
  readonly diagnostics: readonly Diagnostic[];
}

/**
 * Reads a tree with the answers that the caller wants: those of a file, those of this machine, and otherwise those that a
 * lock has or, without one, that Quern brings along for its default environment.
 *
 * @param source the pack of the patched tree
 * @param pinned answers of a lock
 * @throws Failure `command/probe-unanswered`, and what reading a file or asking this machine throws
 */
export async function readAnsweredTree(
  host: Host,
  source: KeptPack,
  request: MakeRequest,
  { probes, probeHost, saveProbes: target }: ProbeOptions,
  pinned?: Answers,
): Promise<AnsweredTree> {
  const { pack } = source;
  const known = probes === undefined ? undefined : (await loadProbes(resolve(host.cwd, probes))).answers;
  if (probeHost) {
    const templates = await readKitTemplates();
    const script = (sha256: string): string => renderProbeScript(templates, sha256);
    const jobs = availableParallelism();
    host.progress.stage('asking this machine what the tree wants to know');
    const tree = await answerTree(pack, request, (questions) =>
      askHost(host, pack, questions, { script, jobs }),
    );
    if (target !== undefined) {
      const { answers, make } = tree;
      const saved = { arch: request.arch, kernelVersion: make.kernelVersion, answers };
      await saveProbes(resolve(host.cwd, target), saved);
    }
    return { tree, diagnostics: [] };
  }
  if (known)
    return { tree: await keptTree(host, source, request, refuse(probeFile(probes)), known), diagnostics: [] };
  if (pinned) return { tree: await keptTree(host, source, request, askNobody, pinned), diagnostics: [] };
  const { kernelVersion } = makeEnvironment(pack, request, { answer: () => undefined });
  const tree = await keptTree(host, source, request, refuse(broughtAlong), assumedAnswers(kernelVersion));
  return { tree, diagnostics: [assumed()] };
}

/** Where answers come from that were not enough, and what to do then. */
interface Lacking {
  readonly where: string;
  readonly help: string;
}

const askThisMachine =
  'Ask this machine (--probe-host, with --save-probes FILE to keep what it says), when the tree is to be trusted.';
const broughtAlong: Lacking = { where: 'the answers that Quern brings along', help: askThisMachine };
const lockAnswers: Lacking = { where: 'the lock', help: 'Pin them: quern pin --refresh answers.' };

function probeFile(name: string | undefined): Lacking {
  return { where: quoted(name ?? '', 120), help: askThisMachine };
}

/** Asks nobody: what is not known stays so. */
function refuse({ where, help }: Lacking): Ask {
  return async ({ commands }): Promise<Answers> => {
    throw new Failure(
      commandCodes.report('command/probe-unanswered', {
        message: `the tree asks its environment ${commands.length} things to which there is no answer in ${where}`,
        notes: commands.slice(0, 3).map((command) => `For one: ${quoted(command, 200)}.`),
        help,
      }),
    );
  };
}

/** For trees that must have all their answers in a lock. */
export const askNobody: Ask = refuse(lockAnswers);

function assumed(): Diagnostic {
  return commandCodes.report('command/answers-assumed', {
    message: 'what the compiler and its like say is assumed: it is what Debian bookworm with gcc 12 answers',
    notes: ['Another compiler may switch other options on and off.'],
    help: 'To be sure, ask the one that will build: quern pin for a spec, else --probe-host or --probes FILE.',
  });
}
