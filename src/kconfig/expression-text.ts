import type { ConfigSymbol, Expr } from './model.ts';

/** A symbol or constant as it stands in a Kconfig file. */
export function symbolText({ id, name, constant }: ConfigSymbol): string {
  return constant && id > 2 ? `"${name.replaceAll(/["\\]/g, String.raw`\$&`)}"` : name;
}

const strength = { or: 1, and: 2, not: 3, compare: 4, symbol: 4, modular: 4 } as const;

function operand(expr: Expr, outer: keyof typeof strength): string {
  const text = expressionText(expr);
  return strength[expr.kind] < strength[outer] ? `(${text})` : text;
}

/** A condition as it is written in a Kconfig file, with as few parentheses as it takes. */
export function expressionText(expr: Expr): string {
  switch (expr.kind) {
    case 'symbol':
      return symbolText(expr.symbol);
    case 'modular':
      return 'm';
    case 'not':
      return expr.operand.kind === 'compare'
        ? `!(${expressionText(expr.operand)})`
        : `!${operand(expr.operand, 'not')}`;
    case 'and':
      return expr.operands.map((one) => operand(one, 'and')).join(' && ');
    case 'or':
      return expr.operands.map((one) => operand(one, 'or')).join(' || ');
    case 'compare':
      return `${symbolText(expr.left)} ${expr.operator} ${symbolText(expr.right)}`;
  }
}
