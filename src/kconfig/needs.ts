/**
 * What it takes for conditions to hold: a small set of terms that, made true, make them hold. A search along the failing
 * parts of the conditions alone: whether those terms can in turn be made true is not asked here.
 */
import type { Condition } from './conditions.ts';
import type { Evaluation } from './evaluation.ts';
import { expressionText } from './expression-text.ts';
import { comparedNumber } from './numbers.ts';
import type { Choice, ConfigSymbol, Expr, Place, Tristate } from './model.ts';
import type { ValueBounds } from './value-bounds.ts';

type Comparing = Extract<Expr, { readonly kind: 'compare' }>;

/** Values of a tristate, as a set: bit 0 n, bit 1 m, bit 2 y. */
export type Values = number;

export type Need = Place & {
  /** The term as it is written. */
  readonly text: string;
} & (
    | { readonly kind: 'symbol'; readonly symbol: ConfigSymbol; readonly allowed: Values }
    | {
        readonly kind: 'compare';
        readonly expr: Comparing;
        readonly holds: boolean;
      }
    | { readonly kind: 'choice'; readonly choice: Choice }
  );

export interface Needs {
  readonly needs: readonly Need[];
  /** No set was found that makes the conditions hold; these are what each of them lacks by itself. */
  readonly contradictory: boolean;
}

/** Alternatives that are kept of one expression, and steps of the search: trees need a handful. */
const mostAlternatives = 12;
const mostSteps = 300;

type Forced = ReadonlyMap<string, Need>;
type Alternative = readonly Need[];

const atLeast = (level: Tristate): Values => (level === 2 ? 0b100 : level === 1 ? 0b110 : 0b111);
const atMost = (level: Tristate): Values => (level === 0 ? 0b001 : level === 1 ? 0b011 : 0b111);

/** The value that a set stands for when one is wanted: the plainest. */
export function plainest(allowed: Values): Tristate {
  return (allowed & 0b100) !== 0 ? 2 : (allowed & 0b001) !== 0 ? 0 : 1;
}

function keyOf(need: Need): string {
  switch (need.kind) {
    case 'symbol':
      return keyOfSymbol(need.symbol, need);
    case 'choice':
      return `c${need.choice.id}`;
    case 'compare':
      return keyOfTerm(need.expr);
  }
}

/** A constant is as good as an answer of the environment: each line may have got another one. */
function keyOfSymbol({ id, constant }: ConfigSymbol, { file, line }: Place): string {
  return constant ? `k${id} ${file}:${line}` : `s${id}`;
}

function keyOfTerm(expr: Expr): string {
  return `x${expressionText(expr)}`;
}

/** Whether some configuration has it so. */
export function isPossible(bounds: ValueBounds, need: Need): boolean {
  switch (need.kind) {
    case 'symbol': {
      const { least, greatest } = bounds.of(need.symbol);
      return (need.allowed & atLeast(least) & atMost(greatest)) !== 0;
    }
    case 'compare': {
      const { least, greatest } = bounds.ofCondition(need.expr);
      return need.holds ? greatest !== 0 : least === 0;
    }
    case 'choice':
      return true;
  }
}

/**
 * @param level what the conditions must come to
 * @param bounds of all options, so that what can never be is needed only where nothing else helps
 * @returns no needs when they do so already
 */
export function needsOf(
  evaluation: Evaluation,
  conditions: readonly Condition[],
  level: Tristate,
  bounds: ValueBounds,
): Needs {
  let steps = 0;
  const failing = (forced: Forced): Condition | undefined =>
    conditions.find((condition) => valueOf(evaluation, condition, forced) < level);

  function search(forced: Forced): Forced | undefined {
    const condition = failing(forced);
    if (!condition) return forced;
    for (const alternative of waysOf(evaluation, condition, level, forced, bounds)) {
      steps += 1;
      if (steps > mostSteps) return undefined;
      const merged = merge(forced, alternative);
      const found =
        merged && merged.size + sizeOf(merged) > forced.size + sizeOf(forced) ? search(merged) : undefined;
      if (found) return found;
    }
    return undefined;
  }

  const found = search(new Map());
  if (found) return { needs: [...found.values()], contradictory: false };
  const each = new Map<string, Need>();
  const none: Forced = new Map();
  for (const condition of conditions) {
    if (valueOf(evaluation, condition, none) >= level) continue;
    for (const need of waysOf(evaluation, condition, level, none, bounds)[0] ?? [])
      each.set(`${keyOf(need)} ${need.text}`, need);
  }
  return { needs: [...each.values()], contradictory: true };
}

/** Narrower sets count as progress, so that the search ends. */
function sizeOf(forced: Forced): number {
  let size = 0;
  for (const need of forced.values()) if (need.kind === 'symbol') size += 3 - bits(need.allowed);
  return size;
}

function bits(allowed: Values): number {
  return (allowed & 1) + ((allowed >> 1) & 1) + ((allowed >> 2) & 1);
}

function merge(forced: Forced, added: Alternative): Forced | undefined {
  const merged = new Map(forced);
  for (const need of added) {
    const key = keyOf(need);
    const before = merged.get(key);
    if (!before) merged.set(key, need);
    else if (before.kind === 'symbol' && need.kind === 'symbol') {
      const allowed = before.allowed & need.allowed;
      if (allowed === 0) return undefined;
      merged.set(key, { ...before, allowed });
    } else if (before.kind === 'compare' && need.kind === 'compare' && before.holds !== need.holds)
      return undefined;
  }
  return merged;
}

function valueOf(evaluation: Evaluation, condition: Condition, forced: Forced): Tristate {
  if ('expr' in condition) return calculateWith(evaluation, condition.expr, forced, condition);
  const { choice, whole } = condition;
  if (forced.has(`c${choice.id}`)) return 2;
  const mode = evaluation.modeOf(choice);
  if (mode !== 0) return whole && mode === 1 ? 0 : mode;
  // It has a value as soon as it and a member are shown, and their conditions stand beside this one.
  return forced.size > 0 && !choice.optional ? 2 : 0;
}

function valueOfSymbol(evaluation: Evaluation, symbol: ConfigSymbol, forced: Forced, place: Place): Tristate {
  const need = forced.get(keyOfSymbol(symbol, place));
  return need?.kind === 'symbol' ? plainest(need.allowed) : evaluation.tristateOf(symbol);
}

/** The value of a condition, written at `place`, with some terms as they are needed. */
function calculateWith(evaluation: Evaluation, expr: Expr, forced: Forced, place: Place): Tristate {
  if (forced.size === 0) return evaluation.calculate(expr);
  switch (expr.kind) {
    case 'symbol':
      return valueOfSymbol(evaluation, expr.symbol, forced, place);
    case 'modular': {
      const { modules } = evaluation.model;
      return modules && valueOfSymbol(evaluation, modules, forced, place) !== 0 ? 1 : 0;
    }
    case 'not': {
      const value = calculateWith(evaluation, expr.operand, forced, place);
      return value === 0 ? 2 : value === 1 ? 1 : 0;
    }
    case 'and':
      return lowest(expr.operands.map((one) => calculateWith(evaluation, one, forced, place)));
    case 'or':
      return highest(expr.operands.map((one) => calculateWith(evaluation, one, forced, place)));
    case 'compare': {
      const need = forced.get(keyOfTerm(expr));
      if (need?.kind === 'compare') return need.holds ? 2 : 0;
      return compareWith(evaluation, expr, forced, place) ? 2 : 0;
    }
  }
}

/** A comparison with options at other values than they have: n, m and y count as 0, 1 and 2 (expr_calc_value). */
function compareWith(evaluation: Evaluation, expr: Comparing, forced: Forced, place: Place): boolean {
  const { left, right, operator } = expr;
  const isForced = (symbol: ConfigSymbol): boolean => forced.has(keyOfSymbol(symbol, place));
  if (!isForced(left) && !isForced(right)) return evaluation.calculate(expr) !== 0;
  const textOf = (symbol: ConfigSymbol): string =>
    isForced(symbol)
      ? 'nmy'.charAt(valueOfSymbol(evaluation, symbol, forced, place))
      : evaluation.valueOf(symbol);
  const [one, other] = [textOf(left), textOf(right)];
  const [first, second] = [numberOf(one, left, isForced(left)), numberOf(other, right, isForced(right))];
  const [low, high] = first === undefined || second === undefined ? [one, other] : [first, second];
  const difference = low < high ? -1 : low > high ? 1 : 0;
  return {
    '=': difference === 0,
    '!=': difference !== 0,
    '<': difference < 0,
    '<=': difference <= 0,
    '>': difference > 0,
    '>=': difference >= 0,
  }[operator];
}

/** @param isState it has a state, whatever its type: what is forced to one that nothing defines */
function numberOf(text: string, { type }: ConfigSymbol, isState: boolean): bigint | undefined {
  if (isState || type === 'bool' || type === 'tristate') return BigInt('nmy'.indexOf(text));
  return comparedNumber(text, type);
}

function lowest(values: readonly Tristate[]): Tristate {
  return values.includes(0) ? 0 : values.includes(1) ? 1 : 2;
}

function highest(values: readonly Tristate[]): Tristate {
  return values.includes(2) ? 2 : values.includes(1) ? 1 : 0;
}

/** `A = y`, `A != n` and the like: the values of A with which it holds. */
function sameValues({
  left,
  right,
  operator,
}: Comparing): { readonly symbol: ConfigSymbol; readonly allowed: Values } | undefined {
  const [symbol, constant] = right.id <= 2 ? [left, right.id] : [right, left.id];
  if (constant > 2 || symbol.constant || (symbol.type !== 'bool' && symbol.type !== 'tristate'))
    return undefined;
  const equal = 1 << constant;
  if (operator === '=') return { symbol, allowed: equal };
  return operator === '!=' ? { symbol, allowed: 0b111 & ~equal } : undefined;
}

/** Sets of needs, each of which makes a condition hold, the cheapest first. */
function waysOf(
  evaluation: Evaluation,
  condition: Condition,
  level: Tristate,
  forced: Forced,
  bounds: ValueBounds,
): readonly Alternative[] {
  const place = { file: condition.file, line: condition.line };
  if (!('expr' in condition)) {
    const { choice } = condition;
    const text = choice.prompts[0]?.text ?? choice.name ?? 'choice';
    return [[{ kind: 'choice', choice, text, ...place }]];
  }

  function raise(expr: Expr, to: Tristate): readonly Alternative[] {
    if (calculateWith(evaluation, expr, forced, place) >= to) return [[]];
    switch (expr.kind) {
      case 'symbol':
        return symbolNeed(expr.symbol, atLeast(to), expr);
      case 'modular': {
        const { modules } = evaluation.model;
        // No value of any option makes it y.
        if (to === 2 || !modules) return [];
        return symbolNeed(modules, 0b110, { kind: 'symbol', symbol: modules });
      }
      case 'not':
        return sink(expr.operand, to === 2 ? 0 : 1, expr);
      case 'and':
        return product(expr.operands.map((one) => raise(one, to)));
      case 'or':
        return sorted(expr.operands.flatMap((one) => raise(one, to)));
      case 'compare':
        return compareNeed(expr, true, expr);
    }
  }

  function sink(expr: Expr, to: Tristate, written: Expr): readonly Alternative[] {
    if (calculateWith(evaluation, expr, forced, place) <= to) return [[]];
    switch (expr.kind) {
      case 'symbol':
        return symbolNeed(expr.symbol, atMost(to), written);
      case 'modular': {
        const { modules } = evaluation.model;
        return modules
          ? symbolNeed(modules, 0b001, { kind: 'not', operand: { kind: 'symbol', symbol: modules } })
          : [];
      }
      case 'not':
        return raise(expr.operand, to === 0 ? 2 : 1);
      case 'and':
        return sorted(expr.operands.flatMap((one) => sink(one, to, { kind: 'not', operand: one })));
      case 'or':
        return product(expr.operands.map((one) => sink(one, to, { kind: 'not', operand: one })));
      case 'compare':
        return compareNeed(expr, false, written);
    }
  }

  function compareNeed(expr: Comparing, holds: boolean, written: Expr): readonly Alternative[] {
    const same = sameValues(expr);
    if (same) return symbolNeed(same.symbol, holds ? same.allowed : 0b111 & ~same.allowed, written);
    return [[{ kind: 'compare', expr, holds, text: expressionText(written), ...place }]];
  }

  function symbolNeed(symbol: ConfigSymbol, wanted: Values, written: Expr): readonly Alternative[] {
    // A number or a string is n where a condition is wanted, whatever it is.
    if (symbol.type === 'int' || symbol.type === 'hex' || symbol.type === 'string') return [];
    // A bool is never m.
    const allowed = symbol.type === 'bool' ? wanted & 0b101 : wanted;
    return allowed === 0
      ? []
      : [[{ kind: 'symbol', symbol, allowed, text: expressionText(written), ...place }]];
  }

  function sorted(alternatives: readonly Alternative[]): readonly Alternative[] {
    const priced = alternatives.map((needs) => ({
      needs,
      cost: needs.reduce((sum, need) => sum + costOf(evaluation, need, bounds), 0),
    }));
    return priced
      .sort((one, other) => one.cost - other.cost)
      .slice(0, mostAlternatives)
      .map(({ needs }) => needs);
  }

  function product(lists: readonly (readonly Alternative[])[]): readonly Alternative[] {
    let made: readonly Alternative[] = [[]];
    for (const list of lists) made = sorted(made.flatMap((one) => list.map((other) => [...one, ...other])));
    return made;
  }

  return raise(condition.expr, level);
}

/** Terms that a person can make true come before those that something else decides. */
function costOf(evaluation: Evaluation, need: Need, bounds: ValueBounds): number {
  if (!isPossible(bounds, need)) return 50;
  if (need.kind !== 'symbol') return need.kind === 'choice' ? 5 : 10;
  const { symbol, allowed } = need;
  if (symbol.prompts.length === 0) return 8;
  if (plainest(allowed) < evaluation.selectedTo(symbol)) return 6;
  return evaluation.visibilityOf(symbol) === 0 ? 3 : 1;
}
