/**
 * The menu as the kernel's program finishes it (menu_finalize in menu.c): an entry that depends on the option before it
 * moves below that one, and so do those that follow without a gap.
 */
import type { ConfigSymbol, Expr } from './model.ts';
import type { NodeKind } from './rules.ts';

/** What matters here of an entry, of a finished model or of one in the making. */
interface Entry<N> {
  readonly kind: NodeKind;
  readonly parent: N | undefined;
  readonly children: readonly N[];
  readonly symbol: object | undefined;
  readonly choice: object | undefined;
  readonly prompt: { readonly condition: Expr | undefined } | undefined;
  readonly dependencies: readonly { readonly expr: Expr }[];
}

/**
 * The entry that each one below `root` hangs on in the end, in the order of the text. `if` blocks and options without
 * prompt are among them, though no menu shows them: what hangs on these is shown below the next one with a prompt.
 *
 * @param withinChoices members of a choice move below one another as well: in older trees
 */
export function finishedMenu<N extends Entry<N>>(root: N, withinChoices: boolean): ReadonlyMap<N, N> {
  const above = new Map<N, N>();

  function finishAll(entries: readonly N[], parent: N): void {
    for (let next = 0; next < entries.length;) next = finish(entries, next, parent);
  }

  /** @returns the index of the entry that follows this one and all that moves below it */
  function finish(entries: readonly N[], index: number, parent: N): number {
    const entry = entries[index];
    let next = index + 1;
    if (!entry) return next;
    above.set(entry, parent);
    finishAll(entry.children, entry);
    if (!entry.symbol || (parent.choice && !withinChoices)) return next;
    const base = entry.prompt ? termsOf(entry) : [];
    for (let one = entries[next]; one && dependsOn(one, entry.symbol, base); one = entries[next])
      next = finish(entries, next, entry);
    return next;
  }

  finishAll(root.children, root);
  return above;
}

/** It cannot be without `symbol`, or mentions it and needs all that the entry of `symbol` needs. */
function dependsOn<N extends Entry<N>>(node: N, symbol: object, base: readonly string[]): boolean {
  const conditions = conditionsOf(node);
  if (!conditions.some((expr) => mentions(expr, symbol))) return false;
  if (conditions.some((expr) => isNeeded(expr, symbol))) return true;
  const terms = new Set(termsOf(node));
  return base.every((term) => terms.has(term));
}

/** All that has to hold for an entry, up to the menu or choice around: what holds for that holds for each of its entries. */
function conditionsOf<N extends Entry<N>>(node: N): readonly Expr[] {
  const conditions: Expr[] = [];
  for (const { expr } of node.dependencies) spread(expr, conditions);
  if (node.prompt?.condition) spread(node.prompt.condition, conditions);
  for (let block: N | undefined = node.parent; block?.kind === 'if'; block = block.parent) {
    for (const { expr } of block.dependencies) spread(expr, conditions);
  }
  return conditions;
}

function spread(expr: Expr, into: Expr[]): void {
  if (expr.kind === 'and') for (const operand of expr.operands) spread(operand, into);
  else into.push(expr);
}

function termsOf<N extends Entry<N>>(node: N): readonly string[] {
  return conditionsOf(node).map(keyOf);
}

/** Equal for conditions that differ in nothing but the order of operands. */
function keyOf(expr: Expr): string {
  switch (expr.kind) {
    case 'symbol':
      return `s${expr.symbol.id}`;
    case 'modular':
      return 'm';
    case 'not':
      return `!${keyOf(expr.operand)}`;
    case 'compare':
      return compareKey(expr.left, expr.operator, expr.right);
    case 'and':
    case 'or':
      return `(${expr.kind} ${expr.operands.map(keyOf).sort().join(' ')})`;
  }
}

/** `A != n` and, of a bool, `A = y` are A; `A = n` is its negation. */
function compareKey(left: ConfigSymbol, operator: string, right: ConfigSymbol): string {
  const isBool = left.type === 'bool';
  if (operator === '!=' && right.id === 0) return `s${left.id}`;
  if (isBool && operator === '=' && right.id === 2) return `s${left.id}`;
  if (isBool && ((operator === '=' && right.id === 0) || (operator === '!=' && right.id === 2)))
    return `!s${left.id}`;
  return `s${left.id}${operator}s${right.id}`;
}

function mentions(expr: Expr, symbol: object): boolean {
  switch (expr.kind) {
    case 'symbol':
      return expr.symbol === symbol;
    case 'modular':
      return false;
    case 'not':
      return mentions(expr.operand, symbol);
    case 'compare':
      return expr.left === symbol || expr.right === symbol;
    case 'and':
    case 'or':
      return expr.operands.some((operand) => mentions(operand, symbol));
  }
}

function isNeeded(expr: Expr, symbol: object): boolean {
  if (expr.kind === 'symbol') return expr.symbol === symbol;
  if (expr.kind !== 'compare' || expr.left !== symbol) return false;
  if (expr.operator === '=') return expr.right.id === 1 || expr.right.id === 2;
  return expr.operator === '!=' && expr.right.id === 0;
}
