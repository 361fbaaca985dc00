import { quoted } from '../diagnostics/printable.ts';
import type { ConfigSymbol, Expr, MenuNode, Model, Property, Selection } from './model.ts';
import type { Reports } from './reports.ts';
import { inTableOrder } from './table-order.ts';

/** No tree has a circle; the first ones tell what is wrong. */
const mostCircles = 20;

const unseen = 0;
const underway = 1;
const done = 2;

type Ordered = Omit<Model, 'order' | 'readingOrder'>;

/** A symbol or a choice. */
type Root = Pick<MenuNode, 'symbol' | 'choice'>;

/**
 * Puts symbols and choices in an order in which each comes after all that its value rests on, so that evaluating them
 * needs no deep recursion, and reports where a value rests on itself (sym_check_deps in symbol.c).
 */
export function orderSymbols(model: Ordered, reports: Reports): Int32Array {
  return orderFrom(model.nodes, model, reports);
}

/**
 * The same in the order of the program's table of symbols, in which it works out everything when it has read a
 * configuration. That makes a difference only to a choice with a default that is none of its members: whether that one
 * can be seen is then known or not known yet.
 *
 * @returns `undefined` when there is no such choice: there is none in the kernel's own trees
 */
export function orderForReading(model: Ordered, reports: Reports): Int32Array | undefined {
  const { symbols, choices, dialect } = model;
  if (choices.every((choice) => choice.defaults.every(({ member }) => member.choice === choice))) {
    return undefined;
  }
  const roots: Root[] = inTableOrder(symbols, dialect).map((symbol) => ({ symbol, choice: undefined }));
  // Without a name they stand in the first bucket; in newer trees it is the members that their values come with.
  if (dialect.choiceHasValue) for (const choice of choices) roots.unshift({ symbol: undefined, choice });
  return orderFrom(roots, model, reports);
}

/**
 * Symbols, choices and entries are the vertices of one graph, numbered in that order: from each there is an edge to all
 * that it rests on. A choice and its members are one vertex, since each of them rests on all the others.
 */
function orderFrom(roots: readonly Root[], model: Ordered, reports: Reports): Int32Array {
  const { symbols, choices, nodes, dialect } = model;
  const firstChoice = symbols.length;
  const firstNode = firstChoice + choices.length;
  const state = new Uint8Array(firstNode + nodes.length);
  const order: number[] = [];
  /** The edges of all vertices on the path, one after the other. */
  const targets: number[] = [];
  /** The path: vertices, where the edges of each start, which is next, and from where on they may lead back. */
  const path: number[] = [];
  const starts: number[] = [];
  const nexts: number[] = [];
  const limits: number[] = [];
  /** The entries with a menu around them that is not always visible. */
  const shaded = new Uint8Array(nodes.length);
  let circles = 0;

  function vertexOf(symbol: ConfigSymbol): number {
    return symbol.choice ? firstChoice + symbol.choice.id : symbol.id;
  }

  function addSymbol(symbol: ConfigSymbol): void {
    const vertex = vertexOf(symbol);
    if (!symbol.constant && state[vertex] !== done) targets.push(vertex);
  }

  function addNode(node: MenuNode): void {
    const vertex = firstNode + node.id;
    if (state[vertex] !== done) targets.push(vertex);
  }

  function addExpr(expr: Expr): void {
    switch (expr.kind) {
      case 'symbol':
        addSymbol(expr.symbol);
        return;
      case 'modular':
        if (model.modules) addSymbol(model.modules);
        return;
      case 'not':
        addExpr(expr.operand);
        return;
      case 'compare':
        addSymbol(expr.left);
        addSymbol(expr.right);
        return;
      case 'and':
      case 'or':
        addAll(expr.operands);
    }
  }

  // Here and below loops go by index: most of this runs once per tree, before it is compiled, where they are cheapest.
  function addAll(exprs: readonly Expr[]): void {
    for (let index = 0; index < exprs.length; index += 1) {
      const expr = exprs[index];
      if (expr) addExpr(expr);
    }
  }

  function addConditions(list: readonly Property[]): void {
    for (let index = 0; index < list.length; index += 1) {
      const condition = list[index]?.condition;
      if (condition) addExpr(condition);
    }
  }

  function addSelectors(list: readonly Selection[]): void {
    for (let index = 0; index < list.length; index += 1) {
      const selection = list[index];
      if (!selection) continue;
      addSymbol(selection.selector);
      if (selection.condition) addExpr(selection.condition);
    }
  }

  /** Attributes need not lead to their entries: those are edges of the symbol itself, or of the one that selects. */
  function addSymbolEdges(symbol: ConfigSymbol): void {
    const { nodes: own, prompts, defaults } = symbol;
    for (let index = 0; index < own.length; index += 1) {
      const node = own[index];
      if (node) addNode(node);
    }
    addSelectors(symbol.selectedBy);
    addSelectors(symbol.impliedBy);
    addConditions(prompts);
    for (let index = 0; index < prompts.length; index += 1) {
      const prompt = prompts[index];
      if (prompt && shaded[prompt.node.id] === 1) addVisibility(prompt.node);
    }
    addConditions(defaults);
    for (let index = 0; index < defaults.length; index += 1) {
      const value = defaults[index]?.value;
      if (value) addExpr(value);
    }
    addConditions(symbol.ranges);
  }

  function addVisibility(node: MenuNode): void {
    for (let block = node.parent; block; block = block.parent) addAll(block.visibleIf);
  }

  function addChoiceEdges(id: number): void {
    const choice = choices[id];
    if (!choice) return;
    addConditions(choice.prompts);
    for (const prompt of choice.prompts) if (shaded[prompt.node.id] === 1) addVisibility(prompt.node);
    addConditions(choice.defaults);
    for (const node of choice.nodes) addNode(node);
    for (const member of choice.members) addSymbolEdges(member);
  }

  function addNodeEdges(node: MenuNode): void {
    const { parent, symbol, dependencies } = node;
    for (let index = 0; index < dependencies.length; index += 1) {
      const expr = dependencies[index]?.expr;
      if (expr) addExpr(expr);
    }
    if (!parent) return;
    // In older trees all in a choice rests on the choice; seen from its members that is no circle.
    const outside = parent.choice && dialect.choiceHasValue && symbol && symbol.choice !== parent.choice;
    if (outside) targets.push(firstChoice + parent.choice.id);
    else addNode(parent);
  }

  function enter(vertex: number): void {
    state[vertex] = underway;
    path.push(vertex);
    starts.push(targets.length);
    nexts.push(targets.length);
    const node = nodes[vertex - firstNode];
    const symbol = symbols[vertex];
    if (symbol) addSymbolEdges(symbol);
    else if (node) addNodeEdges(node);
    else addChoiceEdges(vertex - firstChoice);
    limits.push(targets.length);
    // The bounds of a range count too, but the program does not look for circles there.
    if (symbol && symbol.ranges.length > 0) {
      for (const { low, high } of symbol.ranges) {
        addSymbol(low);
        addSymbol(high);
      }
    }
  }

  function leave(vertex: number): void {
    state[vertex] = done;
    if (vertex < firstChoice) order.push(vertex);
    else if (vertex < firstNode) {
      order.push(~(vertex - firstChoice));
      for (const member of choices[vertex - firstChoice]?.members ?? []) order.push(member.id);
    }
    path.pop();
    nexts.pop();
    limits.pop();
    targets.length = starts.pop() ?? 0;
  }

  function visit(root: number): void {
    if (state[root] !== unseen) return;
    enter(root);
    while (path.length > 0) {
      const top = path.length - 1;
      const next = nexts[top] ?? 0;
      const target = targets[next];
      nexts[top] = next + 1;
      if (target === undefined) leave(path[top] ?? 0);
      else if (state[target] === unseen) enter(target);
      else if (state[target] === underway && next < (limits[top] ?? 0)) reportCircle(target);
    }
  }

  function reportCircle(target: number): void {
    circles += 1;
    if (circles > mostCircles) return;
    const from = path.indexOf(target);
    const circle = path
      .slice(from)
      .map(describe)
      .filter((one) => one !== undefined);
    const [first] = circle;
    if (!first) return;
    const shown = circle.length > 12 ? [...circle.slice(0, 8), ...circle.slice(-3)] : circle;
    const chain = [...shown, first].map(({ name }) => name).join(' → ');
    reports.atPlace('kconfig/recursive-dependency', `${first.name} rests on itself: ${chain}`, first.place, {
      notes: shown.map(({ name, place }) => `${name} is defined at ${place.file}:${place.line}`),
      help: 'see "Kconfig recursive dependency limitations" in Documentation/kbuild/kconfig-language.rst of the tree',
    });
  }

  function describe(vertex: number): { readonly name: string; readonly place: MenuNode } | undefined {
    if (vertex >= firstNode) return undefined;
    const symbol = symbols[vertex];
    const [place] = symbol?.nodes ?? choices[vertex - firstChoice]?.nodes ?? [];
    return place && { name: symbol ? quoted(symbol.name) : 'a choice', place };
  }

  for (let index = 1; index < nodes.length; index += 1) {
    const parent = nodes[index]?.parent;
    if (parent && (shaded[parent.id] === 1 || parent.visibleIf.length > 0)) shaded[index] = 1;
  }
  // Modules first: what comes before them is worked out as if there were none, as the program does.
  if (model.modules) visit(vertexOf(model.modules));
  for (let index = 0; index < roots.length; index += 1) {
    const root = roots[index];
    if (root?.symbol) visit(vertexOf(root.symbol));
    else if (root?.choice) visit(firstChoice + root.choice.id);
  }
  return Int32Array.from(order);
}
