/**
 * Which entries of a choice are its members, in trees whose choices have a value. The kernel's program first builds
 * sub-menus: an entry that depends on the one before it moves below that one (menu_finalize in menu.c). Inside a choice
 * it is then no member any more.
 */
import type { DraftNode, DraftSymbol } from './draft.ts';
import type { ConfigSymbol, Expr } from './model.ts';

/** The entries that stay on the level of the choice itself, `if` blocks dissolved. */
export function directMembers(choice: DraftNode): readonly DraftNode[] {
  return level(choice.children);
}

function level(nodes: readonly DraftNode[]): DraftNode[] {
  const members: DraftNode[] = [];
  for (let index = 0; index < nodes.length;) {
    const node = nodes[index];
    if (!node) break;
    index += 1;
    if (!node.symbol) {
      members.push(...level(node.children));
      continue;
    }
    const below = absorbed(nodes, index, node, node.symbol);
    members.push(node);
    // What has no prompt makes no sub-menu: its entries come back up.
    if (!node.prompt) members.push(...below.nodes);
    index = below.next;
  }
  return members;
}

/** The entries from `start` on that depend on `symbol`, without a gap. */
function absorbed(
  nodes: readonly DraftNode[],
  start: number,
  owner: DraftNode,
  symbol: DraftSymbol,
): { readonly nodes: readonly DraftNode[]; readonly next: number } {
  const base = owner.prompt ? termsOf(owner) : [];
  const found: DraftNode[] = [];
  let next = start;
  for (let node = nodes[next]; node && dependsOn(node, symbol, base); node = nodes[next]) {
    next += 1;
    if (!node.symbol) {
      found.push(...level(node.children));
      continue;
    }
    found.push(node);
    const below = absorbed(nodes, next, node, node.symbol);
    if (!node.prompt) found.push(...below.nodes);
    next = below.next;
  }
  return { nodes: found, next };
}

/** It cannot be without `symbol`, or mentions it and needs all that the entry of `symbol` needs. */
function dependsOn(node: DraftNode, symbol: DraftSymbol, base: readonly string[]): boolean {
  const conditions = conditionsOf(node);
  if (!conditions.some((expr) => mentions(expr, symbol))) return false;
  if (conditions.some((expr) => isNeeded(expr, symbol))) return true;
  const terms = new Set(termsOf(node));
  return base.every((term) => terms.has(term));
}

/** All that has to hold for an entry, up to the choice: what holds for the choice holds for each of its entries. */
function conditionsOf(node: DraftNode): readonly Expr[] {
  const conditions: Expr[] = [];
  for (const { expr } of node.dependencies) spread(expr, conditions);
  if (node.prompt?.condition) spread(node.prompt.condition, conditions);
  for (let block = node.parent; block?.kind === 'if'; block = block.parent) {
    for (const { expr } of block.dependencies) spread(expr, conditions);
  }
  return conditions;
}

function spread(expr: Expr, into: Expr[]): void {
  if (expr.kind === 'and') for (const operand of expr.operands) spread(operand, into);
  else into.push(expr);
}

function termsOf(node: DraftNode): readonly string[] {
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

function mentions(expr: Expr, symbol: DraftSymbol): boolean {
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

function isNeeded(expr: Expr, symbol: DraftSymbol): boolean {
  if (expr.kind === 'symbol') return expr.symbol === symbol;
  if (expr.kind !== 'compare' || expr.left !== symbol) return false;
  if (expr.operator === '=') return expr.right.id === 1 || expr.right.id === 2;
  return expr.operator === '!=' && expr.right.id === 0;
}
