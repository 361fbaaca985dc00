/**
 * What the kernel's program has made of conditions when it looks for circles: it moves negations to the symbols
 * (expr_transform), joins terms that repeat or exclude each other (expr_join_or, expr_join_and), and drops y and n
 * (expr_eliminate_yn), all in scripts/kconfig/expr.c. What a condition no longer mentions then leads nowhere.
 */
import type { Choice, ConfigSymbol, Expr, MenuNode, Model } from './model.ts';

/** A choice stands for what bounds its members in older trees. */
export type Mentioned = ConfigSymbol | Choice;

export interface SimplifiedConditions {
  /** What the dependencies of an entry mention, and those of all around it. */
  readonly ofNode: (node: MenuNode) => Iterable<Mentioned>;
  /** What these mention together with further conditions. */
  readonly ofConditions: (node: MenuNode, conditions: readonly Expr[]) => Iterable<Mentioned>;
}

interface Constant {
  readonly kind: 'constant';
  readonly value: 0 | 1 | 2;
}
interface Is {
  readonly kind: 'is';
  readonly symbol: Mentioned;
  readonly negated: boolean;
}
interface Equal {
  readonly kind: 'equal';
  readonly symbol: ConfigSymbol;
  readonly value: ConfigSymbol;
  readonly negated: boolean;
}
/** Less, more and the like. */
interface Order {
  readonly kind: 'order';
  readonly operator: string;
  readonly left: ConfigSymbol;
  readonly right: ConfigSymbol;
}
/** Operands are of another kind than what they stand in. */
interface Junction {
  readonly kind: 'and' | 'or';
  readonly operands: readonly Term[];
}
type Term = Constant | Is | Equal | Order | Junction;

/** How often two terms became one; two of the same constant count as well. */
interface Joins {
  count: number;
}

const no: Constant = { kind: 'constant', value: 0 };
const mod: Constant = { kind: 'constant', value: 1 };
const yes: Constant = { kind: 'constant', value: 2 };

/** Symbols in a condition: ten times what trees have. It takes long to compare each of more with each. */
const mostSymbols = 1000;

const contrary = { '<': '>=', '>=': '<', '>': '<=', '<=': '>' } as const;

export function simplifyConditions({
  symbols,
  modules,
  dialect,
}: Pick<Model, 'symbols' | 'modules' | 'dialect'>): SimplifiedConditions {
  // The program drops y and n everywhere since its choices have no values of their own; before, only where it had joined
  // something.
  const alwaysDrops = !dialect.choiceHasValue;
  const known = new Map<MenuNode, Term>();

  function ofNode(node: MenuNode): Term {
    const earlier = known.get(node);
    if (earlier) return earlier;
    const { parent } = node;
    const outer =
      parent?.choice && dialect.choiceHasValue ? isTerm(parent.choice, false) : parent && ofNode(parent);
    const own = node.dependencies.map(({ expr }) => transform(expr, false));
    const term = simplify(junction('and', outer ? [outer, ...own] : own));
    known.set(node, term);
    return term;
  }

  return {
    ofNode: (node) => mentioned(ofNode(node)),
    ofConditions(node, conditions) {
      const terms = conditions.map((expr) => transform(expr, false));
      return mentioned(simplify(junction('and', [ofNode(node), ...terms])));
    },
  };

  function transform(expr: Expr, negated: boolean): Term {
    switch (expr.kind) {
      case 'symbol':
        return symbolTerm(expr.symbol, negated);
      case 'modular':
        return junction(negated ? 'or' : 'and', [
          mod,
          modules ? isTerm(modules, negated) : negated ? yes : no,
        ]);
      case 'not':
        return transform(expr.operand, !negated);
      case 'and':
      case 'or':
        return junction(
          (expr.kind === 'and') === negated ? 'or' : 'and',
          expr.operands.map((operand) => transform(operand, negated)),
        );
      case 'compare': {
        const { operator, left, right } = expr;
        if (operator !== '=' && operator !== '!=')
          return { kind: 'order', operator: negated ? contrary[operator] : operator, left, right };
        return equalTerm(left, right, (operator === '!=') !== negated);
      }
    }
  }

  function simplify(whole: Term): Term {
    if (sizeOf(whole) > mostSymbols) return whole;
    let term = whole;
    for (;;) {
      const joins: Joins = { count: 0 };
      const joined = joinAll(term, joins);
      if (joins.count === 0 && !alwaysDrops) return term;
      term = dropConstants(joined);
      if (joins.count === 0) return term;
    }
  }

  function joinAll(term: Term, joins: Joins): Term {
    if (!isJunction(term)) return term;
    const { kind } = term;
    const operands = term.operands.map((operand) => joinAll(operand, joins));
    for (let one = 0; one < operands.length; one += 1) {
      for (let other = 0; other < operands.length; other += 1) {
        const [a, b] = [operands[one], operands[other]];
        const both = one !== other && a && b ? join(kind, a, b) : undefined;
        if (!both) continue;
        operands[one] = unit(kind);
        operands[other] = both;
        joins.count += 1;
      }
    }
    return { kind, operands };
  }

  /** What two terms are together, where that is one. */
  function join(kind: Junction['kind'], a: Term, b: Term): Term | undefined {
    if (same(a, b)) return a;
    if (!isLeaf(a) || !isLeaf(b) || a.symbol !== b.symbol) return undefined;
    if (a.symbol.type !== 'bool' && a.symbol.type !== 'tristate') return undefined;
    const tristate = a.symbol.type === 'tristate';
    if (a.kind === 'is' && b.kind === 'is') return kind === 'or' && !tristate ? yes : undefined;
    if (a.kind === 'equal' && b.kind === 'equal') {
      if (!tristate) return undefined;
      if (a.negated === b.negated)
        // one of two values is not the third; neither of two is the third
        return a.negated === (kind === 'and') ? thirdValue(a, b) : undefined;
      const [equal, unequal] = a.negated ? [b, a] : [a, b];
      if (kind === 'or' || !equal.value.constant || !unequal.value.constant) return undefined;
      return equal.value === unequal.value ? no : equal;
    }
    const [is, equal] = a.kind === 'is' ? [a, b] : [b, a];
    if (kind === 'or' || is.negated || equal.kind !== 'equal') return undefined;
    const { id } = equal.value;
    if (equal.negated) return id === 0 ? is : id === 1 ? valueTerm(equal.symbol, 2, false) : undefined;
    return id === 2 ? equal : undefined;
  }

  function thirdValue(a: Equal, b: Equal): Term | undefined {
    const ids = [a.value.id, b.value.id];
    if (a.value === b.value || ids.some((id) => id > 2)) return undefined;
    return valueTerm(a.symbol, [0, 1, 2].find((id) => !ids.includes(id)) ?? 0, !a.negated);
  }

  function valueTerm(symbol: ConfigSymbol, id: number, negated: boolean): Term {
    const value = symbols[id];
    if (!value) throw new Error('a model begins with the constants');
    return { kind: 'equal', symbol, value, negated };
  }
}

function unit(kind: Junction['kind']): Constant {
  return kind === 'and' ? yes : no;
}

function isJunction(term: Term): term is Junction {
  return term.kind === 'and' || term.kind === 'or';
}

function sizeOf(term: Term): number {
  return isJunction(term) ? term.operands.reduce((sum, operand) => sum + sizeOf(operand), 0) : 1;
}

function isLeaf(term: Term): term is Is | Equal {
  return term.kind === 'is' || term.kind === 'equal';
}

function isTerm(symbol: Mentioned, negated: boolean): Is {
  return { kind: 'is', symbol, negated };
}

function symbolTerm(symbol: ConfigSymbol, negated: boolean): Term {
  if (symbol.id > 2) return isTerm(symbol, negated);
  if (symbol.id === 1) return mod;
  return (symbol.id === 2) === negated ? no : yes;
}

/** A bool is y or n, and never m. */
function equalTerm(symbol: ConfigSymbol, value: ConfigSymbol, negated: boolean): Term {
  if (symbol.type === 'bool' && value.id === 1) return negated ? yes : no;
  if (symbol.type === 'bool' && value.id <= 2) return isTerm(symbol, negated === (value.id === 2));
  return { kind: 'equal', symbol, value, negated };
}

function junction(kind: Junction['kind'], parts: readonly Term[]): Term {
  const operands = parts.flatMap((part) => (part.kind === kind ? part.operands : [part]));
  const [only = unit(kind)] = operands;
  return operands.length < 2 ? only : { kind, operands };
}

function dropConstants(term: Term): Term {
  if (!isJunction(term)) return term;
  const { kind } = term;
  const operands = term.operands.map(dropConstants);
  const decisive = kind === 'and' ? no : yes;
  if (operands.some((operand) => same(operand, decisive))) return decisive;
  return junction(
    kind,
    operands.filter((operand) => !same(operand, unit(kind))),
  );
}

function same(a: Term, b: Term): boolean {
  switch (a.kind) {
    case 'constant':
      return b.kind === 'constant' && a.value === b.value;
    case 'is':
      return b.kind === 'is' && a.symbol === b.symbol && a.negated === b.negated;
    case 'equal':
      return b.kind === 'equal' && a.symbol === b.symbol && a.value === b.value && a.negated === b.negated;
    case 'order':
      return b.kind === 'order' && a.operator === b.operator && a.left === b.left && a.right === b.right;
    case 'and':
    case 'or':
      // in any order
      return (
        b.kind === a.kind &&
        a.operands.every((one) => b.operands.some((other) => same(one, other))) &&
        b.operands.every((one) => a.operands.some((other) => same(one, other)))
      );
  }
}

function mentioned(term: Term, into = new Set<Mentioned>()): ReadonlySet<Mentioned> {
  switch (term.kind) {
    case 'constant':
      break;
    case 'is':
      into.add(term.symbol);
      break;
    case 'equal':
      into.add(term.symbol).add(term.value);
      break;
    case 'order':
      into.add(term.left).add(term.right);
      break;
    case 'and':
    case 'or':
      for (const operand of term.operands) mentioned(operand, into);
  }
  return into;
}
