import { availableParallelism } from 'node:os';

import { resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { printable, quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { assumedAnswers } from '../kconfig/assumed-answers.ts';
import { makeEnvironment, type MakeRequest } from '../kconfig/make-environment.ts';
import type { Pack } from '../kconfig/pack.ts';
import { architectureOf, treeArchitectures } from '../kconfig/tree-architectures.ts';
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
 * @throws Failure `command/no-architecture`, `command/probes-unfit`, `command/probe-unanswered`, and what reading a file or asking this machine throws
 */
export async function readAnsweredTree(
  host: Host,
  source: KeptPack,
  request: MakeRequest,
  { probes, probeHost, saveProbes: target }: ProbeOptions,
  pinned?: Answers,
): Promise<AnsweredTree> {
  const { pack } = source;
  assertTreeHas(pack, request.arch);
  const known = probes === undefined ? undefined : await loadProbes(resolve(host.cwd, probes));
  if (known) assertArchitecture(known.arch, request.arch, probes ?? '');
  if (probeHost) {
    const templates = await readKitTemplates();
    const script = (sha256: string): string => renderProbeScript(templates, sha256);
    const jobs = availableParallelism();
    host.progress.stage('asking this machine what the tree wants to know');
    // as make does: who builds for another architecture has it in the environment
    const { CROSS_COMPILE: crossCompile } = host.env;
    const tree = await answerTree(pack, { ...request, crossCompile }, (questions) =>
      askHost(host, pack, questions, { script, jobs }),
    );
    if (target !== undefined) {
      const { answers, make } = tree;
      const saved = { arch: request.arch, kernelVersion: make.kernelVersion, answers };
      await saveProbes(resolve(host.cwd, target), saved);
    }
    return { tree, diagnostics: [] };
  }
  if (known) {
    const tree = await keptTree(host, source, request, refuse(probeFile(probes)), known.answers);
    const { kernelVersion } = tree.make;
    return { tree, diagnostics: otherVersion(known.kernelVersion, kernelVersion, probes ?? '') };
  }
  if (pinned) return { tree: await keptTree(host, source, request, askNobody, pinned), diagnostics: [] };
  const { kernelVersion } = makeEnvironment(pack, request, { answer: () => undefined });
  const tree = await keptTree(host, source, request, refuse(broughtAlong), assumedAnswers(kernelVersion));
  return { tree, diagnostics: [assumed()] };
}

/** @throws Failure `command/no-architecture` */
function assertTreeHas(pack: Pack, arch: string): void {
  const { sourceArch } = makeEnvironment(pack, { arch }, { answer: () => undefined });
  const there = treeArchitectures(pack);
  if (there.length === 0 || there.includes(sourceArch)) return;
  const meant = architectureOf(arch) ?? nearest(arch, ['x86_64', 'i386', ...there]);
  throw new Failure(
    commandCodes.report('command/no-architecture', {
      message: `this tree has no architecture ${quoted(arch)}`,
      notes: [`It has ${there.join(', ')}; of x86 there are x86_64 and i386.`],
      help: meant === undefined ? 'Name one of these.' : `Did you mean ${quoted(meant)}?`,
    }),
  );
}

/** @throws Failure `command/probes-unfit` */
function assertArchitecture(is: string, wanted: string, file: string): void {
  if (is === wanted) return;
  throw new Failure(
    commandCodes.report('command/probes-unfit', {
      message: `the answers in ${quoted(file, 120)} are those for ${quoted(is)}, and the kernel is for ${quoted(wanted)}`,
      help: 'Name a file of answers for this architecture, or ask this machine (--probe-host).',
    }),
  );
}

function otherVersion(is: string, wanted: string, file: string): readonly Diagnostic[] {
  if (is === wanted) return [];
  return [
    commandCodes.report('command/probes-of-other-kernel', {
      message: `the answers in ${quoted(file, 120)} were given for Linux ${printable(is)}, and this is ${wanted}`,
      notes: ['Each question of this tree had its answer there all the same.'],
    }),
  ];
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
