/**
 * Between which values each option lies in all configurations of a tree in its environment: what nobody can switch on
 * is n at most, what nobody can switch off y at least. Where that is hard to tell, bounds are wider than they could be.
 */
import type { Evaluation } from './evaluation.ts';
import type {
  Choice,
  ConfigSymbol,
  Default,
  Expr,
  MenuNode,
  Property,
  Selection,
  Tristate,
} from './model.ts';

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
  /** What all dependencies of an entry come to, as far as it is known at the time. */
  const nodes: (Bounds | undefined)[] = [];
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
        const { least, greatest } = ofProperty(one);
        return least === greatest && one.value.kind === 'symbol' && one.value.symbol.type === 'unknown';
      })
    );
  }

  function ofNode(node: MenuNode): Bounds {
    return (nodes[node.id] ??= both([
      ...(node.parent ? [ofParent(node.parent)] : []),
      ...node.dependencies.map(({ expr }) => ofCondition(expr)),
    ]));
  }

  function ofParent(parent: MenuNode): Bounds {
    return parent.choice && model.dialect.choiceHasValue ? ofChoice(parent.choice) : ofNode(parent);
  }

  /** In older trees members depend on the value of their choice, which is no higher than its own entries allow. */
  function ofChoice(choice: Choice): Bounds {
    return choice.nodes.every((node) => ofNode(node).greatest === 0) ? never : anything;
  }

  /** `visible if` is left aside. */
  function ofProperty({ node, condition }: Property): Bounds {
    return condition ? both([ofNode(node), ofCondition(condition)]) : ofNode(node);
  }

  const ofSelection = (one: Selection): Bounds => both([of(one.selector), ofProperty(one)]);

  function ofDefaults(defaults: readonly Default[]): Bounds {
    let found: Bounds = { least: 2, greatest: 0 };
    for (const one of defaults) {
      const condition = ofProperty(one);
      if (condition.greatest === 0) continue;
      const given = both([condition, ofCondition(one.value)]);
      found = { least: both([found, given]).least, greatest: either([found, given]).greatest };
      if (condition.least > 0) return found;
    }
    return { ...found, least: 0 };
  }

  function ofSymbol(symbol: ConfigSymbol): Bounds {
    const shown = either(symbol.prompts.map(ofProperty)).greatest;
    const selected = either(symbol.selectedBy.map(ofSelection));
    const given = ofDefaults(symbol.defaults);
    const settable = shown > 0 || symbol.choice !== undefined;
    const least = either([exactly(settable ? 0 : given.least), selected]).least;
    const { greatest } = either([exactly(shown), given, selected, ...symbol.impliedBy.map(ofSelection)]);
    const withoutModules = !model.modules || of(model.modules).least === 0;
    const isBool = symbol.type === 'bool' || symbol.choice !== undefined;
    return {
      least: least === 1 && symbol.type === 'bool' ? 2 : least,
      greatest: greatest === 1 && (isBool || withoutModules) ? 2 : greatest,
    };
  }

  // Each after what its value rests on, so that few rounds do.
  const ruled = [...model.order].flatMap((id) => {
    const symbol = model.symbols[id];
    return symbol && isState(symbol) && !symbol.constant && !symbol.transitional ? [symbol] : [];
  });
  for (let changed = true; changed;) {
    changed = false;
    nodes.length = 0;
    for (const symbol of ruled) {
      const before = of(symbol);
      const { least, greatest } = ofSymbol(symbol);
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
