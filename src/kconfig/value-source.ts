import { activeSelectors, defaultFact } from './causes.ts';
import type { Circumstances } from './circumstances.ts';
import { showBytes } from './latin1.ts';
import type { Choice, ConfigSymbol } from './model.ts';
import type { ChoiceFact, ValueSource } from './reason.ts';
import type { Origin } from './requests.ts';

export function choiceFact({ prompts, nodes, name }: Choice): ChoiceFact {
  const { file, line } = nodes[0] ?? { file: '', line: 0 };
  return { prompt: showBytes(prompts[0]?.text ?? name ?? 'choice'), file, line };
}

/** The member of a choice that is on, and the request that makes it so. */
export function chosenMember(
  { evaluation, request }: Circumstances,
  choice: Choice,
): { readonly chosen: string | null; readonly origin?: Origin } {
  const chosen = evaluation.chosenOf(choice)?.name ?? null;
  const asked = chosen === null ? undefined : request(chosen);
  return { chosen, ...(asked?.value === 'y' && { origin: asked.origin }) };
}

/** Where the value of an option comes from. */
export function valueSource(circumstances: Circumstances, symbol: ConfigSymbol): ValueSource {
  const { evaluation } = circumstances;
  const value = evaluation.tristateOf(symbol);
  const visible = evaluation.visibilityOf(symbol) !== 0;
  if (symbol.choice && visible) {
    return {
      kind: 'choice',
      choice: choiceFact(symbol.choice),
      ...chosenMember(circumstances, symbol.choice),
    };
  }
  const selected = evaluation.selectedTo(symbol);
  const user = evaluation.userValueOf(symbol);
  const asked = visible && user !== undefined;
  // A select counts where it gives more than what else there is.
  if (value !== 0 && selected === value && !(asked && user === evaluation.valueOf(symbol))) {
    return { kind: 'selected', by: activeSelectors(circumstances, symbol.selectedBy, value) };
  }
  if (asked) {
    const request = circumstances.request(symbol.name);
    if (request) return { kind: 'asked', requested: showBytes(request.value), origin: request.origin };
    const origin = circumstances.origin(symbol.name);
    return { kind: 'base', ...(origin && { origin }) };
  }
  const active = evaluation.activeDefault(symbol);
  const given = active ? Math.min(evaluation.calculate(active.value), evaluation.conditionOf(active)) : 0;
  const implied = evaluation.impliedTo(symbol);
  if (value !== 0 && implied >= value && given < value) {
    return { kind: 'implied', by: activeSelectors(circumstances, symbol.impliedBy, 1) };
  }
  return active ? { kind: 'default', default: defaultFact(active) } : { kind: 'nothing' };
}
