import { quoted } from '../diagnostics/printable.ts';
import type { Choice, ConfigSymbol, Expr, MenuNode, Model, Prompt, Property, Selection } from './model.ts';
import type { Reports } from './reports.ts';
import { simplifyConditions, type Mentioned, type SimplifiedConditions } from './simplified-condition.ts';
import { inTableOrder } from './table-order.ts';

/** No tree has a circle; the first ones tell what is wrong. */
const mostCircles = 20;

const unseen = 0;
const underway = 1;
const done = 2;

type Unordered = Omit<Model, 'order' | 'readingOrder'>;
type Orders = Pick<Model, 'order' | 'readingOrder'>;

/** Where to begin, one after the other. */
type Roots = Pick<Model, 'choices' | 'symbols'>;

/** Which edges there are besides those that count always. */
interface Edges {
  /** To the bounds of ranges: values rest on them, but the program does not look for circles there. */
  readonly bounds: boolean;
  /** From members of a choice to what selects or implies them: their values do not rest on that. */
  readonly selectors: boolean;
  /** Conditions as the program has simplified them before it looks for circles; as they stand when absent. */
  readonly simplified?: SimplifiedConditions;
}

/**
 * Puts symbols and choices in an order in which each comes after all that its value rests on, so that evaluating them
 * needs no deep recursion, and reports where a value rests on itself (sym_check_deps in symbol.c).
 */
export function orderSymbols(model: Unordered, reports: Reports): Orders {
  const { choices, dialect } = model;
  const inMenu: ConfigSymbol[] = [];
  for (const { symbol } of model.nodes) if (symbol) inMenu.push(symbol);
  const menu: Roots = { choices: [], symbols: inMenu };
  let edges: Edges = { bounds: true, selectors: true };
  let circular = false;
  let order = walk(model, menu, edges, () => {
    circular = true;
  });
  if (circular) {
    // No tree has one. It takes long to simplify, and is not done before.
    edges = { ...edges, simplified: simplifyConditions(model) };
    walk(model, menu, { ...edges, bounds: false }, reportTo(reports));
    order = walk(model, menu, edges);
  }
  if (choices.every((choice) => choice.defaults.every(({ member }) => member.choice === choice))) {
    return { order, readingOrder: undefined };
  }
  // Where a choice has a default that is none of its members, it counts whether that one has been seen before: when a
  // configuration has been read, the program goes through its table, in which choices stand first, the newest before the
  // others.
  edges = { ...edges, selectors: false };
  const typed = choices.filter(({ type }) => type !== 'unknown').reverse();
  const table: Roots = { choices: typed, symbols: inTableOrder(model.symbols, dialect) };
  return { order: walk(model, menu, edges), readingOrder: walk(model, table, edges) };
}

/** A circle, each of its symbols and choices resting on the next one. */
type Circle = readonly (ConfigSymbol | Choice)[];

function reportTo(reports: Reports): (circle: Circle) => void {
  const told = new Set<ConfigSymbol | Choice>();
  return (circle) => {
    // within a circle there may be smaller ones
    if (circle.every((one) => told.has(one))) return;
    for (const one of circle) told.add(one);
    const described = circle.map(describe).filter((one) => one !== undefined);
    const [first] = described;
    if (!first) return;
    const shown = described.length > 12 ? [...described.slice(0, 8), ...described.slice(-3)] : described;
    const chain = [...shown, first].map(({ name }) => name).join(' → ');
    reports.atPlace('kconfig/recursive-dependency', `${first.name} rests on itself: ${chain}`, first.place, {
      notes: shown.map(({ name, place }) => `${name} is defined at ${place.file}:${place.line}`),
      help: 'see "Kconfig recursive dependency limitations" in Documentation/kbuild/kconfig-language.rst of the tree',
    });
  };
}

function describe(
  one: ConfigSymbol | Choice,
): { readonly name: string; readonly place: MenuNode } | undefined {
  const [place] = one.nodes;
  const [prompt] = one.prompts;
  if (!('members' in one)) return place && { name: quoted(one.name), place };
  return place && { name: prompt ? `the choice ${quoted(prompt.text)}` : 'a choice', place };
}

/**
 * Symbols, choices and entries are the vertices of one graph, numbered in that order: from each there is an edge to all
 * that it rests on. A choice and its members are one vertex, since each of them rests on all the others.
 *
 * @param onCircle hears of the first edges that lead back, with the path that each closes
 */
function walk(model: Unordered, roots: Roots, edges: Edges, onCircle?: (circle: Circle) => void): Int32Array {
  const { symbols, choices, nodes, dialect } = model;
  const firstChoice = symbols.length;
  const firstNode = firstChoice + choices.length;
  const state = new Uint8Array(firstNode + nodes.length);
  const order: number[] = [];
  /** The edges of all vertices on the path, one after the other. */
  const targets: number[] = [];
  /** The path: vertices, where the edges of each start, and which is next. */
  const path: number[] = [];
  const starts: number[] = [];
  const nexts: number[] = [];
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
    if (edges.simplified) {
      addMentioned(edges.simplified.ofNode(node));
      return;
    }
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

  /** @param visibility of the menus around it, where it is a prompt */
  function addCondition(property: Property, visibility: readonly Expr[] = []): void {
    if (edges.simplified) addMentioned(edges.simplified.ofProperty(property, visibility));
    else {
      if (property.condition) addExpr(property.condition);
      addAll(visibility);
    }
  }

  function addMentioned(found: Iterable<Mentioned>): void {
    for (const one of found) {
      if (!('members' in one)) addSymbol(one);
      // seen from its members, what bounds them is no circle
      else if (firstChoice + one.id !== path.at(-1)) targets.push(firstChoice + one.id);
    }
  }

  function addConditions(list: readonly Property[]): void {
    for (let index = 0; index < list.length; index += 1) {
      const property = list[index];
      if (property) addCondition(property);
    }
  }

  function addPrompts(prompts: readonly Prompt[]): void {
    for (let index = 0; index < prompts.length; index += 1) {
      const prompt = prompts[index];
      if (prompt) addCondition(prompt, visibilityOf(prompt.node));
    }
  }

  function visibilityOf(node: MenuNode): readonly Expr[] {
    if (shaded[node.id] !== 1) return [];
    const conditions: Expr[] = [];
    for (let block = node.parent; block; block = block.parent) conditions.push(...block.visibleIf);
    return conditions;
  }

  function addSelectors(list: readonly Selection[]): void {
    for (let index = 0; index < list.length; index += 1) {
      const selection = list[index];
      if (!selection) continue;
      addSymbol(selection.selector);
      addCondition(selection);
    }
  }

  /** Attributes need not lead to their entries: those are edges of the symbol itself, or of the one that selects. */
  function addSymbolEdges(symbol: ConfigSymbol | undefined): void {
    if (!symbol) return;
    const { nodes: own, prompts, defaults } = symbol;
    for (let index = 0; index < own.length; index += 1) {
      const node = own[index];
      if (node) addNode(node);
    }
    if (edges.selectors || !symbol.choice) {
      addSelectors(symbol.selectedBy);
      addSelectors(symbol.impliedBy);
    }
    addPrompts(prompts);
    addConditions(defaults);
    for (let index = 0; index < defaults.length; index += 1) {
      const value = defaults[index]?.value;
      if (value) addExpr(value);
    }
    addConditions(symbol.ranges);
    if (!edges.bounds) return;
    for (let index = 0; index < symbol.ranges.length; index += 1) {
      const range = symbol.ranges[index];
      if (!range) continue;
      addSymbol(range.low);
      addSymbol(range.high);
    }
  }

  function addChoiceEdges(choice: Choice | undefined): void {
    if (!choice) return;
    addPromptEdges(choice);
    addConditions(choice.defaults);
    for (const member of choice.members) addSymbolEdges(member);
  }

  function addPromptEdges({ prompts, nodes: own }: Choice): void {
    addPrompts(prompts);
    for (const node of own) addNode(node);
  }

  function addNodeEdges(node: MenuNode | undefined): void {
    if (!node) return;
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
    // An index outside of a list would be looked up as a name, which takes long.
    if (vertex >= firstNode) addNodeEdges(nodes[vertex - firstNode]);
    else if (vertex >= firstChoice) addChoiceEdges(choices[vertex - firstChoice]);
    else addSymbolEdges(symbols[vertex]);
    // an entry and its attributes mention the same
    if (edges.simplified) targets.push(...new Set(targets.splice(starts.at(-1) ?? 0)));
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
      else if (state[target] === underway && circles < mostCircles) {
        circles += 1;
        onCircle?.(circleFrom(target));
      }
    }
  }

  function circleFrom(target: number): Circle {
    const vertices = path.slice(path.indexOf(target));
    return vertices.flatMap((vertex) => symbols[vertex] ?? choices[vertex - firstChoice] ?? []);
  }

  for (let index = 1; index < nodes.length; index += 1) {
    const parent = nodes[index]?.parent;
    if (parent && (shaded[parent.id] === 1 || parent.visibleIf.length > 0)) shaded[index] = 1;
  }
  // Modules first: what comes before them is worked out as if there were none, as the program does.
  if (model.modules) visit(vertexOf(model.modules));
  for (const choice of roots.choices) {
    // In newer trees a choice by itself has nothing to work out but whether it is seen.
    if (dialect.choiceHasValue) targets.push(firstChoice + choice.id);
    else addPromptEdges(choice);
    for (const target of targets.splice(0)) visit(target);
  }
  for (let index = 0; index < roots.symbols.length; index += 1) {
    const symbol = roots.symbols[index];
    if (symbol && symbol.nodes.length > 0) visit(vertexOf(symbol));
  }
  // A choice is worked out when the first of its members is; what is left has none.
  for (const choice of choices) visit(firstChoice + choice.id);
  return Int32Array.from(order);
}
