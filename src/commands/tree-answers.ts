import { resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { printable, quoted } from '../diagnostics/printable.ts';
import { builtArchitectures } from '../environment/architectures.ts';
import type { Host } from '../host/host.ts';
import { assumedEnvironment } from '../kconfig/assumed-answers-data.ts';
import { assumedAnswers } from '../kconfig/assumed-answers.ts';
import { makeEnvironment, type MakeRequest } from '../kconfig/make-environment.ts';
import { architectureOf, treeArchitectures } from '../kconfig/tree-architectures.ts';
import type { ListedFiles } from '../kconfig/tree-files.ts';
import type { Answers, WholeReading } from '../kconfig/tree-questions.ts';
import { loadProbes, saveProbes } from '../source/probe-file.ts';
import { keptTree, type Ask, type AskingTree } from './answer-tree.ts';
import { commandCodes } from './codes.ts';
import type { ProbeOptions } from './options.ts';

export interface AnsweredTree {
  readonly tree: WholeReading;
  readonly diagnostics: readonly Diagnostic[];
}

/**
 * Reads a tree with the answers that the caller wants: those of a file, those of this machine, and otherwise those that a
 * lock has or, without one, that Quern brings along for its default environment.
 *
 * @param source the patched tree
 * @param pinned answers of a lock
 * @throws Failure `command/no-architecture`, `command/probes-unfit`, `command/probe-unanswered`, and what reading a file or asking this machine throws
 */
export async function readAnsweredTree(
  host: Host,
  source: AskingTree,
  request: MakeRequest,
  { probes, probeHost, saveProbes: target }: ProbeOptions,
  pinned?: Answers,
): Promise<AnsweredTree> {
  const { files } = source;
  assertTreeHas(files, request.arch);
  const known = probes === undefined ? undefined : await loadProbes(resolve(host.cwd, probes));
  if (known) assertArchitecture(known.arch, request.arch, probes ?? '');
  if (probeHost) {
    // loaded only here: it takes all that kits are rendered with
    const { askThisMachine } = await import('./ask-this-machine.ts');
    const tree = await askThisMachine(host, source, request);
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
  const { kernelVersion } = makeEnvironment(files, request, { answer: () => undefined });
  const tree = await keptTree(
    host,
    source,
    request,
    refuse(broughtAlong(request)),
    assumedAnswers(kernelVersion),
  );
  return { tree, diagnostics: [assumed(request)] };
}

/** @throws Failure `command/no-architecture` */
function assertTreeHas(files: ListedFiles, arch: string): void {
  // the Makefile leads some to the folder of another
  if (files.read('Makefile')?.includes(`ifeq ($(ARCH),${arch})`)) return;
  if (/^\w+$/u.test(arch) && files.read(`arch/${arch}/Kconfig`) !== undefined) return;
  const there = treeArchitectures(files);
  if (there.length === 0) return;
  const { sourceArch } = makeEnvironment(files, { arch }, { answer: () => undefined });
  if (there.includes(sourceArch)) return;
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

const askHere =
  'Ask this machine (--probe-host, with --save-probes FILE to keep what it says), when the tree is to be trusted.';
function broughtAlong(request: MakeRequest): Lacking {
  const own = isAssumed(request);
  return {
    where: own
      ? 'the answers that Quern brings along'
      : `the answers that Quern brings along: they are those of gcc for ${assumedEnvironment.arch}`,
    help: own ? askHere : `Ask the environment that builds (quern pin). ${askHere}`,
  };
}
/** Whether the answers that are brought along are those of the compiler that would build. */
function isAssumed({ arch, llvm = false }: MakeRequest): boolean {
  return arch === assumedEnvironment.arch && !llvm;
}

const lockAnswers: Lacking = { where: 'the lock', help: 'Pin them: quern pin --refresh answers.' };

function probeFile(name: string | undefined): Lacking {
  return { where: quoted(name ?? '', 120), help: askHere };
}

/** Asks nobody: what is not known stays so. */
function refuse({ where, help }: Lacking): Ask {
  return async ({ commands }): Promise<Answers> => {
    throw new Failure(
      commandCodes.report('command/probe-unanswered', {
        message: `the tree asks its environment ${commands.length === 1 ? 'one thing' : `${commands.length} things`} to which there is no answer in ${where}`,
        notes: commands.slice(0, 3).map((command) => `For one: ${quoted(command, 200)}.`),
        help,
      }),
    );
  };
}

/** For trees that must have all their answers in a lock. */
export const askNobody: Ask = refuse(lockAnswers);

function assumed(request: MakeRequest): Diagnostic {
  const own = isAssumed(request);
  const one = own ? 'Another compiler' : request.llvm ? 'clang' : `The compiler for ${quoted(request.arch)}`;
  // where there is no compiler, a pin would only say so
  const ask = builtArchitectures.some((arch) => arch === request.arch)
    ? 'quern pin for a spec, else --probe-host'
    : '--probe-host';
  return commandCodes.report('command/answers-assumed', {
    message: `what the compiler and its like say is assumed: it is what Debian bookworm with gcc 12 answers for ${assumedEnvironment.arch}`,
    notes: [`${one} may switch other options on and off.`],
    help: `To be sure, ask the one that will build: ${ask} or --probes FILE.`,
  });
}
