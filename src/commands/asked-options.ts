import type { OptionOn } from '../environment/architectures.ts';
import { makeWords } from '../environment/toolchain.ts';
import { baseRecipe, type BaseRecipe } from '../kconfig/base-recipe.ts';
import { readDotConfig } from '../kconfig/dot-config.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import { makeEnvironment } from '../kconfig/make-environment.ts';
import type { Pack } from '../kconfig/pack.ts';
import type { Request } from '../kconfig/requests.ts';
import type { Spec } from '../spec/spec.ts';
import type { Asked } from './requests.ts';
import type { LocalFiles } from './spec-files.ts';

/** Options that the base and the requests turn on, whatever becomes of them: which these are, no answer decides. */
export function askedOptions(
  spec: Spec,
  { base }: Pick<LocalFiles, 'base'>,
  { requests }: Asked,
  pack: Pack,
): OptionOn {
  return turnedOn(base ? decodeLatin1(base.content) : baseLines(spec, pack), requests);
}

/** @param base lines of a `.config`, in latin1 */
export function turnedOn(base: string, requests: readonly Request[]): OptionOn {
  const ofBase = readDotConfig(base);
  // the last one counts
  const ofRequests = new Map(requests.map(({ option, value }) => [option, value]));
  return (option) => /^[ym]$/u.test(ofRequests.get(option) ?? ofBase.get(option) ?? '');
}

/** All that the tree's own files say of a configuration which it makes, before anything is made of that. */
function baseLines(spec: Spec, pack: Pack): string {
  const { base } = spec.config;
  if (base.kind !== 'target') return '';
  const { sourceArch, defconfig } = makeEnvironment(pack, makeWords(spec), { answer: () => undefined });
  const recipe = baseRecipe(pack, { target: base.target, sourceArch, defconfig });
  return recipe
    ? recipeFiles(recipe)
        .map((path) => pack.read(path) ?? '')
        .join('\n')
    : '';
}

function recipeFiles({ start, steps }: BaseRecipe): readonly string[] {
  const first = start.kind === 'all' ? start.preset : start.file;
  return [...(first === undefined ? [] : [first]), ...steps.flatMap(({ fragments }) => fragments)];
}
