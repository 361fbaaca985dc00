import { calculateRecord, recordCondition, textOf } from './calculate.ts';
import type { EvalState } from './eval-state.ts';
import type { Expr, MenuNode } from './model.ts';
import { quoteString } from './quote.ts';
import { kindCodes, typeCodes } from './rules.ts';

/** The line of a symbol; empty when it has no type. */
export function configLine(state: EvalState, symbol: number): string {
  const type = state.rules.symbols.type[symbol];
  if (type === typeCodes.unknown) return '';
  const name = state.model.symbols[symbol]?.name ?? '';
  const value = textOf(state, symbol);
  if (type === typeCodes.string) return `CONFIG_${name}=${quoteString(value)}\n`;
  if (value === 'n' && (type === typeCodes.bool || type === typeCodes.tristate))
    return `# CONFIG_${name} is not set\n`;
  return `CONFIG_${name}=${value}\n`;
}

/** Whether a menu or comment is shown; what is in it may be shown all the same. */
export function isShown(state: EvalState, node: MenuNode): boolean {
  const hides = (expr: Expr): boolean => calculateRecord(state, withPlainM(state, expr)) === 0;
  if (!node.prompt || node.visibleIf.some(hides)) return false;
  return recordCondition(state, node.prompt, false) !== 0;
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
  const { kind, parent, symbol } = state.rules.nodes;
  const done = new Uint8Array(model.symbols.length);
  /** The menus around an entry that are shown, the innermost last. */
  const open: MenuNode[] = [];
  let text = `#\n# Automatically generated file; DO NOT EDIT.\n# ${model.mainMenu}\n#\n`;
  let afterEnd = false;

  function closeMenus(next: number): void {
    for (let menu = open.at(-1); menu && !isWithin(next, menu.id); menu = open.at(-1)) {
      open.pop();
      if (menu.children.length === 0 && !model.dialect.endsEmptyMenu) continue;
      text += `# end of ${menu.prompt?.text ?? ''}\n`;
      afterEnd = true;
    }
  }

  function isWithin(entry: number, menu: number): boolean {
    let around = parent[entry] ?? -1;
    while (around > menu) around = parent[around] ?? -1;
    return around === menu;
  }

  function writeBlock(node: MenuNode): void {
    if (!isShown(state, node)) return;
    text += `\n#\n# ${node.prompt?.text ?? ''}\n#\n`;
    afterEnd = false;
    if (node.kind === 'menu') open.push(node);
  }

  function writeSymbol(id: number): void {
    if (done[id] === 1 || state.written[id] === 0) return;
    done[id] = 1;
    if (afterEnd) text += '\n';
    afterEnd = false;
    text += configLine(state, id);
  }

  for (let id = 1; id < kind.length; id += 1) {
    if (open.length > 0) closeMenus(id);
    const own = symbol[id] ?? -1;
    if (own >= 0) writeSymbol(own);
    const node = kind[id] === kindCodes.menu || kind[id] === kindCodes.comment ? model.nodes[id] : undefined;
    if (node) writeBlock(node);
  }
  closeMenus(kind.length);
  return text;
}
