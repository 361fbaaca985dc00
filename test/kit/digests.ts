import { renderKit } from '../../src/kit/kit.ts';
import type { Answers, Inputs } from '../../src/spec/lock.ts';
import type { Spec } from '../../src/spec/spec.ts';
import { config, kitTemplates, plainPatches, sha256 } from './fixture.ts';

export interface Sample {
  readonly spec: Spec;
  readonly inputs: Inputs;
  readonly answers: Answers;
}

/** Lines of digest and path: the kit of this spec and lock, whose patches hold their own paths. */
export function digests({ spec, inputs, answers }: Sample): readonly string[] {
  const patches = plainPatches(inputs.patches.map(({ path }) => path));
  const files = renderKit(spec, { inputs, answers }, config, patches, kitTemplates());
  return [...files].map(([name, content]) => `${sha256(content)}  ${name}`);
}
