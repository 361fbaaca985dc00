import { append, emptyList, type DraftSymbol, type SymbolTable } from './draft.ts';
import type { Lexer } from './lexer.ts';
import type { Expr } from './model.ts';
import type { Comparison } from './rules.ts';
import { token, type Token } from './token.ts';

/** No condition nests deeper than ten in any tree; this keeps a hostile one from exhausting the stack. */
const deepest = 500;

const comparisons: ReadonlyMap<Token, Comparison> = new Map([
  [token.equal, '='],
  [token.unequal, '!='],
  [token.less, '<'],
  [token.lessEqual, '<='],
  [token.greater, '>'],
  [token.greaterEqual, '>='],
]);

/** How the parser of statements hears that an expression is wrong; it has then said so. */
export type Complain = (message: string) => undefined;

const modular: Expr = { kind: 'modular' };

/**
 * Reads expressions: `!` binds before `&&`, and that before `||`; a comparison stands between two symbols alone. One
 * reader serves a whole tree.
 */
export class ExpressionReader {
  private readonly lexer: Lexer;
  private readonly table: SymbolTable;
  private readonly syntax: Complain;
  private asCondition = true;
  private what = '';
  private depth = 0;

  constructor(lexer: Lexer, table: SymbolTable, syntax: Complain) {
    this.lexer = lexer;
    this.table = table;
    this.syntax = syntax;
  }

  /**
   * @param asCondition a literal `m` by itself is `m && MODULES` there; in a default it is m
   * @param what it is, for complaints
   * @returns `undefined` when it is none, which has been said then
   */
  read(asCondition: boolean, what: string): Expr | undefined {
    this.asCondition = asCondition;
    this.what = what;
    this.depth = 0;
    return this.readOr();
  }

  private complain(message: string): undefined {
    return this.syntax(`the ${this.what} is wrong: ${message}`);
  }

  private readOr(): Expr | undefined {
    const first = this.readAnd();
    if (!first || this.lexer.kind !== token.or) return first;
    let operands = spread('or', first, emptyList());
    while (this.lexer.kind === token.or) {
      this.lexer.next();
      const operand = this.readAnd();
      if (!operand) return undefined;
      operands = spread('or', operand, operands);
    }
    return { kind: 'or', operands };
  }

  private readAnd(): Expr | undefined {
    const first = this.readTerm();
    if (!first || this.lexer.kind !== token.and) return first;
    let operands = spread('and', first, emptyList());
    while (this.lexer.kind === token.and) {
      this.lexer.next();
      const operand = this.readTerm();
      if (!operand) return undefined;
      operands = spread('and', operand, operands);
    }
    return { kind: 'and', operands };
  }

  private readTerm(): Expr | undefined {
    const { lexer } = this;
    let negated = false;
    while (lexer.kind === token.not) {
      // Two negations take each other away: 2 - (2 - x) is x.
      negated = !negated;
      lexer.next();
    }
    const term = lexer.kind === token.open ? this.readParentheses() : this.readComparison();
    return term && negated ? { kind: 'not', operand: term } : term;
  }

  private readParentheses(): Expr | undefined {
    this.depth += 1;
    if (this.depth > deepest) return this.complain('its parentheses are nested too deeply');
    this.lexer.next();
    const inner = this.readOr();
    if (!inner) return undefined;
    if (!this.lexer.is(token.close)) return this.complain('`)` is missing');
    this.depth -= 1;
    this.lexer.next();
    return inner;
  }

  private readComparison(): Expr | undefined {
    const left = readOperand(this.lexer, this.table);
    if (!left) return this.complain('a symbol is missing');
    const { kind } = this.lexer;
    const operator = kind < token.equal || kind > token.greaterEqual ? undefined : comparisons.get(kind);
    if (operator === undefined) return this.asCondition && left.id === 1 ? modular : this.table.leaf(left);
    this.lexer.next();
    const right = readOperand(this.lexer, this.table);
    if (!right) return this.complain(`there is nothing to compare with behind \`${operator}\``);
    return { kind: 'compare', operator, left, right };
  }
}

/** Puts `a && (b && c)` on one level, so that long conditions are not deep ones. */
function spread(kind: 'and' | 'or', expr: Expr, operands: readonly Expr[]): readonly Expr[] {
  if (expr.kind !== kind) return append(operands, expr);
  let all = operands;
  for (const operand of expr.operands) all = append(all, operand);
  return all;
}

/** A symbol or a constant; `undefined`, and nothing read, when there is none. */
export function readOperand(lexer: Lexer, table: SymbolTable): DraftSymbol | undefined {
  if (lexer.kind === token.word) {
    const symbol = lexer.symbol(table);
    lexer.next();
    return symbol;
  }
  if (lexer.kind === token.quoted) {
    const symbol = table.constant(lexer.value());
    lexer.next();
    return symbol;
  }
  return undefined;
}

/**
 * The condition that says that `expr` is n, as the kernel's program forms it (expr_trans_compare): of `m` it says that
 * it is not n, so that `if !X` does not hold for an X that is m.
 */
export function isNo(expr: Expr, no: DraftSymbol, mod: DraftSymbol): Expr {
  return compareWithNo(expr, true, no, mod);
}

function compareWithNo(expr: Expr, equal: boolean, no: DraftSymbol, mod: DraftSymbol): Expr {
  const operator = equal ? '=' : '!=';
  switch (expr.kind) {
    case 'symbol':
      return { kind: 'compare', operator, left: expr.symbol, right: no };
    case 'modular':
      return { kind: 'compare', operator, left: mod, right: no };
    case 'not':
      return compareWithNo(expr.operand, !equal, no, mod);
    case 'compare':
      return equal ? { kind: 'not', operand: expr } : expr;
    case 'and':
    case 'or': {
      const operands = expr.operands.map((operand) => compareWithNo(operand, true, no, mod));
      const turned: Expr = { kind: expr.kind === 'and' ? 'or' : 'and', operands };
      return equal ? turned : { kind: 'not', operand: turned };
    }
  }
}
