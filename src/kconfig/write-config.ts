import { calculate, conditionOf, textOf } from './calculate.ts';
import { tristateAt, type EvalState } from './eval-state.ts';
import type { ConfigSymbol, Expr, MenuNode } from './model.ts';
import { quoteString } from './quote.ts';

/** The line of a symbol; empty when it has no type. */
export function configLine(state: EvalState, symbol: ConfigSymbol): string {
  const { type, name } = symbol;
  if (type === 'unknown') return '';
  const value = textOf(state, symbol);
  if (type === 'string') return `CONFIG_${name}=${quoteString(value)}\n`;
  if (value === 'n' && (type === 'bool' || type === 'tristate')) return `# CONFIG_${name} is not set\n`;
  return `CONFIG_${name}=${value}\n`;
}

/** Whether a menu or comment is shown; what is in it may be shown all the same. */
export function isShown(state: EvalState, node: MenuNode): boolean {
  const hides = (expr: Expr): boolean => calculate(state, withPlainM(state, expr)) === 0;
  if (!node.prompt || node.visibleIf.some(hides)) return false;
  return conditionOf(state, node.prompt) !== 0;
}

/** Of `visible if` the program makes `m` into `m && MODULES` for the prompts in a menu, but not for the menu itself. */
function withPlainM(state: EvalState, expr: Expr): Expr {
  const [, mod] = state.model.symbols;
  switch (expr.kind) {
    case 'modular':
      return mod ? { kind: 'symbol', symbol: mod } : expr;
    case 'not':
      return { kind: 'not', operand: withPlainM(state, expr.operand) };
    case 'and':
    case 'or':
      return { kind: expr.kind, operands: expr.operands.map((one) => withPlainM(state, one)) };
    case 'symbol':
    case 'compare':
      return expr;
  }
}

/** The whole `.config`, byte for byte as the kernel's program writes it (conf_write in confdata.c). */
export function writeConfig(state: EvalState): string {
  const { model } = state;
  const done = new Uint8Array(model.symbols.length);
  let text = `#\n# Automatically generated file; DO NOT EDIT.\n# ${model.mainMenu}\n#\n`;
  let afterEnd = false;

  function writeNode(node: MenuNode): void {
    const { symbol, kind } = node;
    if (symbol) writeSymbol(symbol);
    const shown = (kind === 'menu' || kind === 'comment') && isShown(state, node);
    if (shown) {
      text += `\n#\n# ${node.prompt?.text ?? ''}\n#\n`;
      afterEnd = false;
    }
    for (const child of node.children) writeNode(child);
    if (!shown || kind !== 'menu') return;
    if (node.children.length === 0 && !model.dialect.endsEmptyMenu) return;
    text += `# end of ${node.prompt?.text ?? ''}\n`;
    afterEnd = true;
  }

  function writeSymbol(symbol: ConfigSymbol): void {
    if (done[symbol.id] === 1 || tristateAt(state.written, symbol.id) === 0) return;
    done[symbol.id] = 1;
    if (afterEnd) text += '\n';
    afterEnd = false;
    text += configLine(state, symbol);
  }

  for (const child of model.nodes[0]?.children ?? []) writeNode(child);
  return text;
}
