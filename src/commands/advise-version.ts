import { fittingAdvice, toolText } from '../environment/fitting-versions.ts';
import { oldTools, type Minimum } from '../environment/minimum-versions.ts';
import { boundsText, isWithin, readBound, toolOfOption } from '../environment/tool-numbers.ts';
import { toolFacts, toolVersion, type KnownEnvironment, type Tool } from '../environment/tools.ts';
import type { Cause, Term } from '../kconfig/reason.ts';
import type { Verdict } from '../kconfig/verdict.ts';

const pinToSee = 'Another environment was assumed here: `quern pin` asks this one.';

/**
 * Of a request that is lost to the version of a tool: which version it takes, and which release of Debian has that.
 *
 * @param minimums of the tree
 */
export function adviseVersion(
  { reason }: Verdict,
  environment: KnownEnvironment,
  minimums: ReadonlyMap<Tool, Minimum>,
): string | undefined {
  if (reason.kind !== 'dependency' && reason.kind !== 'probe' && reason.kind !== 'no-prompt')
    return undefined;
  for (const { option = '', needs, file, line } of termsBelow(reason.terms)) {
    if (option === 'RUST_IS_AVAILABLE' && needs === 'y') return adviseRust(environment, minimums);
    const bound = readBound(option, needs);
    const tool = toolOfOption(option, environment.request);
    if (!bound || tool === undefined) continue;
    const { name } = toolFacts[tool];
    const where = toolText(tool, environment);
    const takes = `It takes ${name} ${boundsText([bound])} (${file}:${line}), and ${where}`;
    const fits = (version: string): boolean => isWithin(version, bound);
    return fits(toolVersion(tool, environment))
      ? `${takes}. ${pinToSee}`
      : `${takes}. ${fittingAdvice(tool, environment, fits)}`;
  }
  return undefined;
}

/** Tools that are too old are told apart from this; here it is told that they are not. */
function adviseRust(environment: KnownEnvironment, minimums: ReadonlyMap<Tool, Minimum>): string | undefined {
  const both = ['rustc', 'bindgen'] as const;
  if (!minimums.has('rustc') || oldTools(minimums, both, environment).length > 0) return undefined;
  const versions = both.map((tool) => `${tool} ${toolVersion(tool, environment)}`).join(' and ');
  return `Debian ${environment.request.debian} has ${versions}, which the tree takes. ${pinToSee}`;
}

/** The terms with those that they come down to. */
function termsBelow(terms: readonly Term[]): readonly Term[] {
  return terms.flatMap((term) => [term, ...termsBelow(termsOf(term.cause))]);
}

function termsOf(cause: Cause | undefined): readonly Term[] {
  return cause?.kind === 'dependency' || cause?.kind === 'automatic' ? cause.terms : [];
}
