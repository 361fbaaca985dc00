/**
 * Between which values each option lies in all configurations of a tree in its environment: what nobody can switch on
 * is n at most, what nobody can switch off y at least. Where that is hard to tell, bounds are wider than they could be.
 */
import { defaultConditions, promptConditions, propertyConditions, type Condition } from './conditions.ts';
import type { Evaluation } from './evaluation.ts';
import type { ConfigSymbol, Expr, Selection, Tristate } from './model.ts';

export interface Bounds {
  readonly least: Tristate;
  readonly greatest: Tristate;
}

export interface ValueBounds {
  of(symbol: ConfigSymbol): Bounds;
  ofCondition(expr: Expr): Bounds;
}

const anything: Bounds = { least: 0, greatest: 2 };
const never = exactly(0);

function exactly(value: Tristate): Bounds {
  return { least: value, greatest: value };
}

function both(all: readonly Bounds[]): Bounds {
  let [least, greatest]: [Tristate, Tristate] = [2, 2];
  for (const one of all) {
    if (one.least < least) least = one.least;
    if (one.greatest < greatest) greatest = one.greatest;
  }
  return { least, greatest };
}

function either(all: readonly Bounds[]): Bounds {
  let [least, greatest]: [Tristate, Tristate] = [0, 0];
  for (const one of all) {
    if (one.least > least) least = one.least;
    if (one.greatest > greatest) greatest = one.greatest;
  }
  return { least, greatest };
}

const opposite = [2, 1, 0] as const;

function isState({ type }: ConfigSymbol): boolean {
  return type === 'bool' || type === 'tristate';
}

/** What decides over a symbol, each as the conditions that have to hold together. */
interface Rules {
  readonly prompts: readonly (readonly Condition[])[];
  readonly defaults: readonly {
    readonly counts: readonly Condition[];
    readonly gives: readonly Condition[];
  }[];
  readonly selects: readonly (readonly Condition[])[];
  readonly implies: readonly (readonly Condition[])[];
}

/**
 * Narrows bounds, all wide at first, by the rules of each symbol until nothing changes.
 *
 * @param evaluation of any configuration: it is asked for nothing that differs between configurations
 */
export function valueBounds(evaluation: Evaluation): ValueBounds {
  const { model } = evaluation;
  const bounds = model.symbols.map((symbol) =>
    isState(symbol) && !symbol.constant ? anything : exactly(evaluation.tristateOf(symbol)),
  );
  const of = ({ id }: ConfigSymbol): Bounds => bounds[id] ?? anything;

  function ofCondition(expr: Expr): Bounds {
    switch (expr.kind) {
      case 'symbol':
        return of(expr.symbol);
      case 'modular':
        return model.modules ? both([exactly(1), of(model.modules)]) : never;
      case 'not': {
        const { least, greatest } = ofCondition(expr.operand);
        return { least: opposite[greatest], greatest: opposite[least] };
      }
      case 'and':
        return both(expr.operands.map(ofCondition));
      case 'or':
        return either(expr.operands.map(ofCondition));
      case 'compare':
        return ofComparison(expr);
    }
  }

  function ofComparison(expr: Extract<Expr, { readonly kind: 'compare' }>): Bounds {
    const { left, right, operator } = expr;
    if (isFixed(left) && isFixed(right)) return exactly(evaluation.calculate(expr));
    const compared = isState(left) && isState(right);
    if (!compared || (operator !== '=' && operator !== '!=')) return anything;
    const [one, other] = [of(left), of(right)];
    const apart = one.greatest < other.least || other.greatest < one.least;
    const same = one.least === one.greatest && other.least === other.greatest && one.least === other.least;
    if (!apart && !same) return anything;
    return exactly(same === (operator === '=') ? 2 : 0);
  }

  /** Its value is the same in every configuration: a constant, or what the environment gives. */
  function isFixed(symbol: ConfigSymbol): boolean {
    if (isState(symbol)) return of(symbol).least === of(symbol).greatest;
    if (symbol.type === 'unknown') return true;
    return (
      symbol.prompts.length === 0 &&
      symbol.ranges.length === 0 &&
      symbol.defaults.every((one) => {
        const { least, greatest } = ofAll(propertyConditions(model, one));
        return least === greatest && one.value.kind === 'symbol' && one.value.symbol.type === 'unknown';
      })
    );
  }

  function ofAll(conditions: readonly Condition[]): Bounds {
    return both(conditions.map((one) => ('expr' in one ? ofCondition(one.expr) : anything)));
  }

  function ofDefaults(defaults: Rules['defaults']): Bounds {
    let found: Bounds = { least: 2, greatest: 0 };
    for (const { counts, gives } of defaults) {
      const condition = ofAll(counts);
      if (condition.greatest === 0) continue;
      const given = ofAll(gives);
      found = { least: both([found, given]).least, greatest: either([found, given]).greatest };
      if (condition.least > 0) return found;
    }
    return { ...found, least: 0 };
  }

  function ofSymbol(symbol: ConfigSymbol, { prompts, defaults, selects, implies }: Rules): Bounds {
    const shown = either(prompts.map(ofAll)).greatest;
    const selected = either(selects.map(ofAll));
    const given = ofDefaults(defaults);
    const settable = shown > 0 || symbol.choice !== undefined;
    const least = either([exactly(settable ? 0 : given.least), selected]).least;
    const { greatest } = either([exactly(shown), given, selected, ...implies.map(ofAll)]);
    const withoutModules = !model.modules || of(model.modules).least === 0;
    const isBool = symbol.type === 'bool' || symbol.choice !== undefined;
    return {
      least: least === 1 && symbol.type === 'bool' ? 2 : least,
      greatest: greatest === 1 && (isBool || withoutModules) ? 2 : greatest,
    };
  }

  const selections = (list: readonly Selection[]): Rules['selects'] =>
    list.map((one) => [
      { expr: { kind: 'symbol', symbol: one.selector }, file: one.file, line: one.line },
      ...propertyConditions(model, one),
    ]);
  // Each after what its value rests on, so that few rounds do.
  const ruled = [...model.order].flatMap((id) => {
    const symbol = model.symbols[id];
    if (!symbol || !isState(symbol) || symbol.constant || symbol.transitional) return [];
    const rules: Rules = {
      prompts: symbol.prompts.map((one) => promptConditions(model, one)),
      defaults: symbol.defaults.map((one) => ({
        counts: propertyConditions(model, one),
        gives: defaultConditions(model, one),
      })),
      selects: selections(symbol.selectedBy),
      implies: selections(symbol.impliedBy),
    };
    return [{ symbol, rules }];
  });
  for (let changed = true; changed;) {
    changed = false;
    for (const { symbol, rules } of ruled) {
      const before = of(symbol);
      const { least, greatest } = ofSymbol(symbol, rules);
      if (least <= before.least && greatest >= before.greatest) continue;
      bounds[symbol.id] = {
        least: least > before.least ? least : before.least,
        greatest: greatest < before.greatest ? greatest : before.greatest,
      };
      changed = true;
    }
  }
  return { of, ofCondition };
}
