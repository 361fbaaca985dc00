/**
 * What the kernel's program has made of conditions before it looks for circles (expr_transform, expr_eliminate_dups and
 * expr_eliminate_yn in expr.c): one that holds always or never leads nowhere, whatever it mentions.
 */
import type { ConfigSymbol, Expr } from './model.ts';

/** One of the values that a condition cannot leave: n or y. */
export type Settled = 0 | 2;

/** A term of a conjunction or disjunction, as far as two of them are compared. */
interface Term {
  readonly symbol: ConfigSymbol;
  /** `undefined` for the symbol by itself, or its negation. */
  readonly constant: ConfigSymbol | undefined;
  readonly negated: boolean;
}

/**
 * The value that conditions have together, where it hangs on no symbol.
 *
 * @param conditions all of which have to hold
 */
export function settledValue(conditions: readonly Expr[]): Settled | undefined {
  return ofOperands('and', conditions, false);
}

/**
 * The same of one condition, or of a part of one.
 *
 * @param negated it stands below an odd number of `!`, which the program has moved to the symbols before
 */
export function settledExpr(expr: Expr, negated: boolean): Settled | undefined {
  switch (expr.kind) {
    case 'symbol':
      return expr.symbol.id === 0 ? valueOf(negated) : expr.symbol.id === 2 ? valueOf(!negated) : undefined;
    case 'modular':
      return undefined;
    case 'not':
      return settledExpr(expr.operand, !negated);
    case 'compare':
      // a bool is never m
      if (expr.left.type !== 'bool' || expr.right.id !== 1) return undefined;
      if (expr.operator === '=') return valueOf(negated);
      return expr.operator === '!=' ? valueOf(!negated) : undefined;
    case 'and':
    case 'or':
      return ofOperands(expr.kind, expr.operands, negated);
  }
}

function valueOf(holds: boolean): Settled {
  return holds ? 2 : 0;
}

function ofOperands(written: 'and' | 'or', operands: readonly Expr[], negated: boolean): Settled | undefined {
  // !(A && B) is !A || !B
  const kind = (written === 'and') === negated ? 'or' : 'and';
  const values = operands.map((operand) => settledExpr(operand, negated));
  const decisive = kind === 'and' ? 0 : 2;
  if (values.includes(decisive)) return decisive;
  if (values.every((value) => value !== undefined)) return kind === 'and' ? 2 : 0;
  const terms: Term[] = [];
  for (const operand of operands) collectTerms(kind, operand, negated, terms);
  const contrary = terms.some((one, index) =>
    terms.slice(index + 1).some((other) => areContrary(kind, one, other)),
  );
  return contrary ? decisive : undefined;
}

function collectTerms(kind: 'and' | 'or', expr: Expr, negated: boolean, into: Term[]): void {
  switch (expr.kind) {
    case 'symbol':
      into.push({ symbol: expr.symbol, constant: undefined, negated });
      return;
    case 'modular':
      return;
    case 'not':
      collectTerms(kind, expr.operand, !negated, into);
      return;
    case 'compare':
      into.push(...termOf(expr, negated));
      return;
    case 'and':
    case 'or':
      if ((expr.kind === kind) === negated) return;
      for (const operand of expr.operands) collectTerms(kind, operand, negated, into);
  }
}

function termOf(expr: Extract<Expr, { readonly kind: 'compare' }>, negated: boolean): readonly Term[] {
  const { operator, left, right } = expr;
  if (operator !== '=' && operator !== '!=') return [];
  const unequal = (operator === '!=') !== negated;
  if (left.type !== 'bool') return [{ symbol: left, constant: right, negated: unequal }];
  // of a bool, A = y is A and A = n is !A
  if (right.id === 2) return [{ symbol: left, constant: undefined, negated: unequal }];
  return right.id === 0 ? [{ symbol: left, constant: undefined, negated: !unequal }] : [];
}

/** Of which one holds always (expr_join_or), or one never (expr_join_and). */
function areContrary(kind: 'and' | 'or', one: Term, other: Term): boolean {
  if (one.symbol !== other.symbol || one.constant !== other.constant || one.negated === other.negated)
    return false;
  return kind === 'or'
    ? one.symbol.type === 'bool'
    : one.symbol.type === 'tristate' && one.constant?.constant === true;
}
