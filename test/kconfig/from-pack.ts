/** The whole way from an encoded pack to a `.config`, by the library's door alone: the same in Node and in a browser. */
import {
  baseConfig,
  baseRecipe,
  compose,
  configure,
  decodePack,
  encodeLatin1,
  fragmentRequests,
  readTree,
} from '../../src/kconfig/index.ts';

/** Texts are latin1. */
export interface PackJob {
  readonly arch: string;
  /** Command and answer. */
  readonly answers: readonly (readonly [string, string])[];
  /** The target of make that the configuration starts from. */
  readonly target: string;
  readonly fragment: string;
}

export function configurePack(bytes: Uint8Array, job: PackJob): Uint8Array {
  const { value: pack } = decodePack(bytes, 'the pack');
  if (!pack) throw new Error('the pack cannot be decoded');
  const reading = readTree(pack, { arch: job.arch }, new Map(job.answers));
  if (reading.kind === 'asks') throw new Error(`not answered: ${reading.questions.commands.join('\n')}`);
  const { model } = reading.parsed;
  const recipe = baseRecipe(pack, { target: job.target, ...reading.make });
  const base = model && recipe && baseConfig(model, pack, recipe);
  if (!model || base === undefined) throw new Error(`the tree has no ${job.target}`);
  const requests = fragmentRequests(job.fragment, 'the fragment').value;
  const { text } = compose({ file: job.target, text: base }, requests);
  return encodeLatin1(configure(model, 'olddefconfig', text).text);
}
