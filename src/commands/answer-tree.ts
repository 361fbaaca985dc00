import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import type { MakeRequest } from '../kconfig/make-environment.ts';
import type { Pack } from '../kconfig/pack.ts';
import type { ListedFiles } from '../kconfig/tree-files.ts';
import type { Questions } from '../kconfig/probe-exchange.ts';
import { mentionedVariables, readTree, type Answers, type WholeReading } from '../kconfig/tree-questions.ts';
import { storedTree } from '../source/stored-model.ts';
import { commandCodes } from './codes.ts';

/** Puts questions to an environment; every command is to have an answer. */
export type Ask = (questions: Questions) => Promise<Answers>;

/** A tree whose questions are to be answered. */
export interface AskingTree {
  readonly files: ListedFiles;
  /** Of a tree on disk it takes long: whoever is asked something needs it, and nobody else. */
  readonly pack: () => Promise<Pack>;
  /** SHA-256 that stands for what is in the pack; a tree without one is read every time. */
  readonly key?: string | undefined;
}

/** A tree whose pack is at hand, and what stands for it. */
export function askingPack({ pack, key }: { readonly pack: Pack; readonly key: string }): AskingTree {
  return { files: pack, pack: () => Promise.resolve(pack), key };
}

/** The same as `answerTree`, and out of the store where this tree was read before with these answers. */
export async function keptTree(
  host: Host,
  { files, pack, key }: AskingTree,
  request: MakeRequest,
  ask: Ask,
  known: Answers = new Map(),
): Promise<WholeReading> {
  const read = async (): Promise<WholeReading> => answerTree(await pack(), request, ask, known);
  if (key !== undefined) return storedTree(host, { pack: key, request, answers: known }, read);
  const reading = readTree(files, request, known);
  return reading.kind === 'whole' ? reading : read();
}

/** Trees of today take three or four: an answer that goes into every next command would never end. */
const mostRounds = 16;

/**
 * Reads a tree, asking what it wants to know until nothing is missing.
 *
 * @param pack of the patched tree
 * @param known answers from before: whatever of them is still asked for is not asked again
 * @throws Failure `command/probe-unanswered`, `command/probes-endless`, and whatever `ask` throws
 */
export async function answerTree(
  pack: Pack,
  request: MakeRequest,
  ask: Ask,
  known: Answers = new Map(),
): Promise<WholeReading> {
  const texts = [...pack.files.keys()].map((path) => [path, pack.read(path) ?? ''] as const);
  const wanted = mentionedVariables(new Map(texts));
  const answers = new Map(known);
  for (let rounds = 0; ; rounds += 1) {
    const reading = readTree(pack, request, answers, wanted);
    if (reading.kind === 'whole') return reading;
    if (rounds === mostRounds) throw endless(reading.questions);
    const given = await ask(reading.questions);
    for (const command of reading.questions.commands) {
      const answer = given.get(command);
      if (answer === undefined) throw unanswered(command);
      answers.set(command, answer);
    }
  }
}

function unanswered(command: string): Failure {
  return new Failure(
    commandCodes.report('command/probe-unanswered', {
      message: `the environment gave no answer to ${quoted(command, 200)}`,
      help: 'Ask again (quern pin --refresh answers); when it stays so, the container engine loses output.',
    }),
  );
}

function endless({ commands }: Questions): Failure {
  return new Failure(
    commandCodes.report('command/probes-endless', {
      message: `the tree still asks its environment something new after ${mostRounds} rounds`,
      notes: commands.slice(0, 3).map((command) => `For one: ${quoted(command, 200)}.`),
      help: 'See which Kconfig file puts answers into further $(shell …): a patch may have brought it.',
    }),
  );
}
