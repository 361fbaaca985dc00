import { isGlob } from '../patch/glob.ts';
import type { SpecPatch } from './spec.ts';

/** An item of `patches` in words: what it names, and how that is applied where it is not as usual. */
export function patchText(patch: SpecPatch): string {
  if (typeof patch === 'string') return patch;
  const options = [
    ...(patch.strip === undefined ? [] : [`strip ${patch.strip}`]),
    ...('reverse' in patch && patch.reverse ? ['reversed'] : []),
    ...(patch.fuzz === undefined ? [] : [`fuzz ${patch.fuzz}`]),
  ];
  const name = 'series' in patch ? `series ${patch.series}` : patch.path;
  return options.length === 0 ? name : `${name} (${options.join(', ')})`;
}

/** Whether it names no file alone: a pattern, or a series. */
export function standsForSeveral(patch: SpecPatch): boolean {
  if (typeof patch === 'string') return isGlob(patch);
  return 'series' in patch || isGlob(patch.path);
}
