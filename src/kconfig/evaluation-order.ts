import { quoted } from '../diagnostics/printable.ts';
import { ConditionRecords } from './condition-records.ts';
import type { Choice, ConfigSymbol, MenuNode, Model } from './model.ts';
import type { Reports } from './reports.ts';
import { constant, membersOf, operatorCodes, startOf, type Column, type PropertyColumns } from './rules.ts';
import { simplifyConditions, type Mentioned, type SimplifiedConditions } from './simplified-condition.ts';
import { inTableOrder } from './table-order.ts';

/** No tree has a circle; the first ones tell what is wrong. */
const mostCircles = 20;

const none: readonly number[] = [];

const unseen = 0;
const underway = 1;
const done = 2;

type Unordered = Omit<Model, 'order' | 'readingOrder'>;
type Orders = Pick<Model, 'order' | 'readingOrder'>;

/** Where to begin, one after the other. */
interface Roots {
  readonly choices: readonly number[];
  readonly symbols: ArrayLike<number>;
}

/** Which edges there are besides those that count always. */
interface Edges {
  /** To the bounds of ranges: values rest on them, but the program does not look for circles there. */
  readonly bounds: boolean;
  /**
   * Along which the program looks for circles although no value rests on them: from members of a choice to what selects or
   * implies them, and in newer trees from a choice to what shows it.
   */
  readonly idle: boolean;
  /** Conditions as the program has simplified them before it looks for circles; as they stand when absent. */
  readonly simplified?: SimplifiedConditions;
}

/**
 * Puts symbols and choices in an order in which each comes after all that its value rests on, so that evaluating them
 * needs no deep recursion, and reports where a value rests on itself (sym_check_deps in symbol.c).
 */
export function orderSymbols(model: Unordered, reports: Reports): Orders {
  const { choices, dialect } = model;
  const menu: Roots = { choices: [], symbols: model.rules.nodes.symbol };
  let edges: Edges = { bounds: true, idle: true };
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
  edges = { ...edges, idle: false };
  const typed = choices.filter(({ type }) => type !== 'unknown').reverse();
  const table: Roots = { choices: typed.map(idOf), symbols: inTableOrder(model.symbols, dialect).map(idOf) };
  return { order: walk(model, menu, edges), readingOrder: walk(model, table, edges) };
}

function idOf({ id }: ConfigSymbol | Choice): number {
  return id;
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
  const { rules, dialect } = model;
  const { symbols, choices, nodes, exprs, operands } = rules;
  const { simplified } = edges;
  const records = new ConditionRecords(rules, model.symbols);
  const firstChoice = symbols.type.length;
  const firstNode = firstChoice + choices.type.length;
  const state = new Uint8Array(firstNode + nodes.kind.length);
  const order: number[] = [];
  /** The edges of all vertices on the path, one after the other. */
  const targets: number[] = [];
  /** The path: vertices, where the edges of each start, and which is next. */
  const path: number[] = [];
  const starts: number[] = [];
  const nexts: number[] = [];
  /** The entries with a menu around them that is not always visible. */
  const shaded = new Uint8Array(nodes.kind.length);
  let circles = 0;

  function vertexOf(symbol: number): number {
    const choice = symbols.choice[symbol] ?? -1;
    return choice < 0 ? symbol : firstChoice + choice;
  }

  function addSymbol(symbol: number): void {
    const vertex = vertexOf(symbol);
    const isConstant = ((symbols.flags[symbol] ?? 0) & constant) !== 0;
    if (!isConstant && state[vertex] !== done) targets.push(vertex);
  }

  function addNode(id: number): void {
    const node = simplified && model.nodes[id];
    if (node) addMentioned(simplified.ofNode(node));
    else if (state[firstNode + id] !== done) targets.push(firstNode + id);
  }

  function addCondition(row: number): void {
    const end = exprs.operands[row] ?? 0;
    switch (exprs.operator[row]) {
      case operatorCodes.modular:
        if (model.modules) addSymbol(model.modules.id);
        return;
      case operatorCodes.not:
      case operatorCodes.and:
      case operatorCodes.or:
        for (let at = startOf(exprs.operands, row); at < end; at += 1) addCondition(operands.row[at] ?? 0);
        return;
      default:
        for (let at = startOf(exprs.operands, row); at < end; at += 1) addSymbol(operands.row[at] ?? 0);
    }
  }

  /** @param further conditions of the line besides its own */
  function addLine(lines: PropertyColumns, row: number, further: readonly number[] = none): void {
    const own = lines.condition[row] ?? -1;
    const node = simplified && model.nodes[lines.node[row] ?? 0];
    if (node) {
      const conditions = own < 0 ? further : [own, ...further];
      const found = simplified.ofConditions(
        node,
        conditions.map((one) => records.at(one)),
      );
      addMentioned(found);
      return;
    }
    if (own >= 0) addCondition(own);
    for (let index = 0; index < further.length; index += 1) addCondition(further[index] ?? 0);
  }

  function addMentioned(found: Iterable<Mentioned>): void {
    for (const one of found) {
      if (!('members' in one)) addSymbol(one.id);
      // seen from its members, what bounds them is no circle
      else if (firstChoice + one.id !== path.at(-1)) targets.push(firstChoice + one.id);
    }
  }

  function addPrompts(lines: PropertyColumns, ends: Column, owner: number): void {
    const end = ends[owner] ?? 0;
    for (let row = startOf(ends, owner); row < end; row += 1) {
      addLine(lines, row, visibilityOf(lines.node[row] ?? 0));
    }
  }

  /** The conditions of the menus around an entry. */
  function visibilityOf(node: number): readonly number[] {
    if (shaded[node] !== 1) return none;
    const conditions: number[] = [];
    for (let block = nodes.parent[node] ?? -1; block >= 0; block = nodes.parent[block] ?? -1) {
      const end = nodes.visibleIf[block] ?? 0;
      for (let row = startOf(nodes.visibleIf, block); row < end; row += 1) {
        conditions.push(rules.visibleIf.expr[row] ?? 0);
      }
    }
    return conditions;
  }

  function addSelectors(lines: PropertyColumns, ends: Column, symbol: number): void {
    const end = ends[symbol] ?? 0;
    for (let row = startOf(ends, symbol); row < end; row += 1) {
      addSymbol(nodes.symbol[lines.node[row] ?? 0] ?? 0);
      addLine(lines, row);
    }
  }

  /** Attributes need not lead to their entries: those are edges of the symbol itself, or of the one that selects. */
  function addSymbolEdges(symbol: number): void {
    const { symbolNodes, prompts, defaults, ranges, selects, implies } = rules;
    for (let row = startOf(symbols.nodes, symbol), end = symbols.nodes[symbol] ?? 0; row < end; row += 1) {
      addNode(symbolNodes.node[row] ?? 0);
    }
    if (edges.idle || symbols.choice[symbol] === -1) {
      addSelectors(selects, symbols.selectedBy, symbol);
      addSelectors(implies, symbols.impliedBy, symbol);
    }
    addPrompts(prompts, symbols.prompts, symbol);
    const firstDefault = startOf(symbols.defaults, symbol);
    const lastDefault = symbols.defaults[symbol] ?? 0;
    for (let row = firstDefault; row < lastDefault; row += 1) addLine(defaults, row);
    for (let row = firstDefault; row < lastDefault; row += 1) addCondition(defaults.value[row] ?? 0);
    const firstRange = startOf(symbols.ranges, symbol);
    const lastRange = symbols.ranges[symbol] ?? 0;
    for (let row = firstRange; row < lastRange; row += 1) addLine(ranges, row);
    for (let row = firstRange; row < lastRange && edges.bounds; row += 1) {
      addSymbol(ranges.low[row] ?? 0);
      addSymbol(ranges.high[row] ?? 0);
    }
  }

  function addChoiceEdges(choice: number): void {
    if (edges.idle || dialect.choiceHasValue) addPromptEdges(choice);
    const end = choices.defaults[choice] ?? 0;
    for (let row = startOf(choices.defaults, choice); row < end; row += 1) addLine(rules.choiceDefaults, row);
    for (const member of membersOf(rules, choice)) addSymbolEdges(member);
  }

  function addPromptEdges(choice: number): void {
    addPrompts(rules.choicePrompts, choices.prompts, choice);
    for (const { id } of model.choices[choice]?.nodes ?? []) addNode(id);
  }

  function addNodeEdges(node: number): void {
    const end = nodes.dependencies[node] ?? 0;
    for (let row = startOf(nodes.dependencies, node); row < end; row += 1) {
      addCondition(rules.dependencies.expr[row] ?? 0);
    }
    const parent = nodes.parent[node] ?? -1;
    if (parent < 0) return;
    // In older trees all in a choice rests on the choice; seen from its members that is no circle.
    const around = dialect.choiceHasValue ? (nodes.choice[parent] ?? -1) : -1;
    const symbol = nodes.symbol[node] ?? -1;
    if (around >= 0 && symbol >= 0 && symbols.choice[symbol] !== around) targets.push(firstChoice + around);
    else addNode(parent);
  }

  function enter(vertex: number): void {
    state[vertex] = underway;
    path.push(vertex);
    starts.push(targets.length);
    nexts.push(targets.length);
    if (vertex >= firstNode) addNodeEdges(vertex - firstNode);
    else if (vertex >= firstChoice) addChoiceEdges(vertex - firstChoice);
    else addSymbolEdges(vertex);
    // an entry and its attributes mention the same
    if (simplified) targets.push(...new Set(targets.splice(starts.at(-1) ?? 0)));
  }

  function leave(vertex: number): void {
    state[vertex] = done;
    if (vertex < firstChoice) order.push(vertex);
    else if (vertex < firstNode) {
      order.push(~(vertex - firstChoice));
      for (const member of membersOf(rules, vertex - firstChoice)) order.push(member);
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
      // An index outside of a list would be looked up as a name, which takes long.
      const target = next < targets.length ? targets[next] : undefined;
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
    return vertices.flatMap((vertex) => model.symbols[vertex] ?? model.choices[vertex - firstChoice] ?? []);
  }

  for (let node = 1; node < nodes.kind.length; node += 1) {
    const parent = nodes.parent[node] ?? 0;
    const isShade = startOf(nodes.visibleIf, parent) !== nodes.visibleIf[parent];
    if (shaded[parent] === 1 || isShade) shaded[node] = 1;
  }
  // Modules first: what comes before them is worked out as if there were none, as the program does.
  if (model.modules) visit(vertexOf(model.modules.id));
  for (const choice of roots.choices) {
    // In newer trees a choice by itself has nothing to work out but whether it is seen.
    if (dialect.choiceHasValue) targets.push(firstChoice + choice);
    else addPromptEdges(choice);
    for (const target of targets.splice(0)) visit(target);
  }
  for (let index = 0; index < roots.symbols.length; index += 1) {
    const symbol = roots.symbols[index] ?? -1;
    if (symbol >= 0 && startOf(symbols.nodes, symbol) !== symbols.nodes[symbol]) visit(vertexOf(symbol));
  }
  // A choice is worked out when the first of its members is; what is left has none.
  for (let choice = 0; choice < choices.type.length; choice += 1) visit(firstChoice + choice);
  return Int32Array.from(order);
}
