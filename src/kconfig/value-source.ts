import { activeSelectors, defaultFact } from './causes.ts';
import type { Circumstances } from './circumstances.ts';
import { showBytes } from './latin1.ts';
import type { Choice, ConfigSymbol } from './model.ts';
import type { ChoiceFact, ValueSource } from './reason.ts';

export function choiceFact({ prompts, nodes, name }: Choice): ChoiceFact {
  const { file, line } = nodes[0] ?? { file: '', line: 0 };
  return { prompt: showBytes(prompts[0]?.text ?? name ?? 'choice'), file, line };
}

/** Where the value of an option comes from. */
export function valueSource(circumstances: Circumstances, symbol: ConfigSymbol): ValueSource {
  const { evaluation } = circumstances;
  const value = evaluation.tristateOf(symbol);
  const visible = evaluation.visibilityOf(symbol) !== 0;
  if (symbol.choice && visible) {
    const chosen = evaluation.chosenOf(symbol.choice);
    const origin = chosen && circumstances.request(chosen.name)?.origin;
    return {
      kind: 'choice',
      choice: choiceFact(symbol.choice),
      chosen: chosen?.name ?? null,
      ...(origin && { origin }),
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
