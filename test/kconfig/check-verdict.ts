import { expect } from 'vitest';

import type { Evaluation } from '../../src/kconfig/evaluation.ts';
import type { SymbolType } from '../../src/kconfig/rules.ts';
import type { Verdict } from '../../src/kconfig/verdict.ts';
import { forcedBy, visibilityWith } from './forced-visibility.ts';

/** Whether a value of the kernel's result is the one asked for. */
function isSame(type: SymbolType, requested: string, got: string | undefined): boolean {
  if (got === undefined) return requested === 'n';
  if (requested === got) return true;
  const number = (text: string): bigint | undefined => {
    if (type === 'int') return /^-?(?:0|[1-9]\d*)$/u.test(text) ? BigInt(text) : undefined;
    if (type === 'hex')
      return /^(?:0x)?[0-9a-f]+$/iu.test(text) ? BigInt(`0x${text.replace(/^0x/iu, '')}`) : undefined;
    return undefined;
  };
  const one = number(requested);
  if (one !== undefined) return one === number(got);
  const inner = (text: string): string | undefined =>
    /^"(?:[^"\\]|\\.)*"$/su.test(text) ? text.slice(1, -1).replaceAll(/\\(.)/gsu, '$1') : undefined;
  return type === 'string' && inner(requested) !== undefined && inner(requested) === inner(got);
}

/**
 * Holds a verdict against the value that the kernel's own program gave, and the terms it names against the rules.
 *
 * @param got as it stands in the kernel's `.config`; `undefined` when the option is not there
 */
export function checkVerdict(evaluation: Evaluation, verdict: Verdict, got: string | undefined): void {
  const { option, requested, reason, message } = verdict;
  const symbol = evaluation.model.byName.get(option);
  const about = `${option}=${requested}, ${String(got)}: ${JSON.stringify(verdict)}`;
  expect(message, about).toMatch(/\S.*[.?]$/u);
  expect(message, about).not.toMatch(/undefined|\[object|NaN/u);
  if (!symbol || symbol.type === 'unknown') {
    expect(verdict.verdict, about).toBe('unknown');
    return;
  }
  const { type } = symbol;
  const isState = type === 'bool' || type === 'tristate';
  expect(verdict.value, about).toBe(got ?? (isState ? 'n' : null));
  expect(verdict.verdict === 'kept', about).toBe(isSame(type, requested, got));
  expect(verdict.reason.kind === 'as-asked', about).toBe(verdict.verdict === 'kept');
  if (isState && /^[nmy]$/u.test(requested) && verdict.verdict !== 'kept' && verdict.verdict !== 'invalid') {
    const order = ['n', 'm', 'y'];
    const higher = order.indexOf(got ?? 'n') > order.indexOf(requested);
    const lowered = requested === 'y' && got === 'm';
    expect(verdict.verdict, about).toBe(higher ? 'raised' : lowered ? 'lowered' : 'dropped');
  }
  if (reason.kind !== 'dependency' && reason.kind !== 'probe') return;
  const wanted = type === 'tristate' && verdict.verdict !== 'raised' ? ['n', 'm', 'y'].indexOf(requested) : 1;
  if (reason.kind === 'dependency' && reason.contradictory === true) {
    const { modules } = evaluation.model;
    expect(
      assignments(evaluation).some(
        (values) =>
          // What is asked for as a module needs modules besides.
          (requested !== 'm' || !modules || values.get(modules.name) !== 0) &&
          visibilityWith(evaluation, symbol, { values, comparisons: new Map() }) >= wanted,
      ),
      about,
    ).toBe(false);
    return;
  }
  const before = visibilityWith(evaluation, symbol, { values: new Map(), comparisons: new Map() });
  expect(before, about).toBeLessThan(wanted);
  expect(visibilityWith(evaluation, symbol, forcedBy(reason.terms)), about).toBeGreaterThanOrEqual(wanted);
}

/** All values that the options of a small model can have together, whatever their conditions. */
function assignments({ model }: Evaluation): readonly ReadonlyMap<string, number>[] {
  const states = model.symbols.filter(
    ({ type, constant }) => !constant && (type === 'bool' || type === 'tristate'),
  );
  if (states.length > 7) return [];
  let all: readonly ReadonlyMap<string, number>[] = [new Map()];
  for (const { name, type } of states) {
    const values = type === 'bool' ? [0, 2] : [0, 1, 2];
    all = all.flatMap((before) => values.map((value) => new Map([...before, [name, value]])));
  }
  return all;
}
