/**
 * What a tree itself calls broken in the tools that it is built with: options that nobody sets, named so, and on because of
 * a tool's version (`GCC_ASM_GOTO_OUTPUT_BROKEN`, `default y if GCC_VERSION >= 120000 && GCC_VERSION < 120400`).
 */
import { defaultConditions } from './conditions.ts';
import type { Evaluation } from './evaluation.ts';
import type { ConfigSymbol, Expr, Place } from './model.ts';
import type { Comparison } from './rules.ts';

/** `GCC_VERSION < 110500` */
export interface VersionComparison {
  readonly option: string;
  readonly relation: Comparison;
  readonly number: number;
}

export interface ToolFault extends Place {
  readonly option: string;
  /** Of each default that may switch it on the comparisons with versions, which hold together. */
  readonly ranges: readonly (readonly VersionComparison[])[];
}

/** @param text the `.config` of the evaluation, in latin1 */
export function toolFaults(evaluation: Evaluation, text: string): readonly ToolFault[] {
  const { model } = evaluation;
  const named = [...text.matchAll(/^CONFIG_(\w*(?:BROKEN|WORKAROUND)\w*)=y$/gmu)];
  return named.flatMap(([, option = '']): ToolFault[] => {
    const symbol = model.byName.get(option);
    if (!symbol || symbol.prompts.length > 0) return [];
    const active = evaluation.activeDefault(symbol);
    if (!active || rangeOf(active).length === 0) return [];
    const { file, line } = active;
    return [{ option, ranges: symbol.defaults.map(rangeOf).filter(({ length }) => length > 0), file, line }];
  });

  function rangeOf(one: ConfigSymbol['defaults'][number]): readonly VersionComparison[] {
    return defaultConditions(model, one).flatMap((condition) =>
      'expr' in condition ? comparisons(condition.expr) : [],
    );
  }
}

/** Those that have to hold for an expression to hold. */
function comparisons(expr: Expr): readonly VersionComparison[] {
  if (expr.kind === 'and') return expr.operands.flatMap(comparisons);
  if (expr.kind !== 'compare') return [];
  const { left, right, operator } = expr;
  return /^[A-Z]+_VERSION$/u.test(left.name) && /^\d+$/u.test(right.name)
    ? [{ option: left.name, relation: operator, number: Number(right.name) }]
    : [];
}
