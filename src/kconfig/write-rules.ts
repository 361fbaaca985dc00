import type { Choice, ConfigSymbol, Expr, MenuNode, Prompt, Property } from './model.ts';
import {
  allnoconfigY,
  constant,
  kindCodes,
  operatorCodes,
  optional,
  transitional,
  typeCodes,
  type PropertyColumns,
  type Rules,
} from './rules.ts';

export interface Records {
  readonly symbols: readonly ConfigSymbol[];
  readonly choices: readonly Choice[];
  readonly nodes: readonly MenuNode[];
}

// Where there are many, loops go by index: this runs once for a tree, before it is compiled, where they are cheapest.

/** The columns of a model whose records are complete. */
export function rulesOf({ symbols, choices, nodes }: Records): Rules {
  const exprs = new Conditions(symbols.length);
  const ofSymbols = writeSymbols(symbols, exprs);
  const ofChoices = writeChoices(choices, exprs);
  const ofNodes = writeNodes(nodes, exprs);
  return { ...ofSymbols, ...ofChoices, ...ofNodes, ...exprs.columns() };
}

function writeSymbols(symbols: readonly ConfigSymbol[], exprs: Conditions) {
  const { length } = symbols;
  const column = (): Int32Array => new Int32Array(length);
  const ends = {
    type: column(),
    flags: column(),
    choice: column(),
    nodes: column(),
    prompts: column(),
    defaults: column(),
    ranges: column(),
    selectedBy: column(),
    impliedBy: column(),
  };
  const node = new Numbers();
  const prompts = new Properties(exprs);
  const defaults = new Properties(exprs);
  const value = new Numbers();
  const ranges = new Properties(exprs);
  const low = new Numbers();
  const high = new Numbers();
  const selects = new Properties(exprs);
  const implies = new Properties(exprs);
  for (let id = 0; id < length; id += 1) {
    const symbol = symbols[id];
    if (!symbol) continue;
    for (let index = 0; index < symbol.nodes.length; index += 1) node.push(symbol.nodes[index]?.id ?? 0);
    prompts.addAll(symbol.prompts);
    defaults.addAll(symbol.defaults);
    for (let index = 0; index < symbol.defaults.length; index += 1) {
      const line = symbol.defaults[index];
      if (line) value.push(exprs.rowOf(line.value));
    }
    ranges.addAll(symbol.ranges);
    for (let index = 0; index < symbol.ranges.length; index += 1) {
      low.push(symbol.ranges[index]?.low.id ?? 0);
      high.push(symbol.ranges[index]?.high.id ?? 0);
    }
    selects.addAll(symbol.selectedBy);
    implies.addAll(symbol.impliedBy);
    ends.type[id] = typeCodes[symbol.type];
    ends.flags[id] =
      (symbol.constant ? constant : 0) |
      (symbol.allnoconfigY ? allnoconfigY : 0) |
      (symbol.transitional ? transitional : 0);
    ends.choice[id] = symbol.choice?.id ?? -1;
    ends.nodes[id] = node.length;
    ends.prompts[id] = prompts.count;
    ends.defaults[id] = defaults.count;
    ends.ranges[id] = ranges.count;
    ends.selectedBy[id] = selects.count;
    ends.impliedBy[id] = implies.count;
  }
  return {
    symbols: ends,
    symbolNodes: { node: node.column() },
    prompts: prompts.columns(),
    defaults: { ...defaults.columns(), value: value.column() },
    ranges: { ...ranges.columns(), low: low.column(), high: high.column() },
    selects: selects.columns(),
    implies: implies.columns(),
  } satisfies Partial<Rules>;
}

function writeChoices(choices: readonly Choice[], exprs: Conditions) {
  const prompts = new Properties(exprs);
  const defaults = new Properties(exprs);
  const member = new Numbers();
  const symbol = new Numbers();
  const column = (): Int32Array => new Int32Array(choices.length);
  const ends = { type: column(), flags: column(), prompts: column(), defaults: column(), members: column() };
  for (const choice of choices) {
    prompts.addAll(choice.prompts);
    defaults.addAll(choice.defaults);
    for (const line of choice.defaults) member.push(line.member.id);
    for (const { id } of choice.members) symbol.push(id);
    ends.type[choice.id] = typeCodes[choice.type];
    ends.flags[choice.id] = choice.optional ? optional : 0;
    ends.prompts[choice.id] = prompts.count;
    ends.defaults[choice.id] = defaults.count;
    ends.members[choice.id] = symbol.length;
  }
  return {
    choices: ends,
    choicePrompts: prompts.columns(),
    choiceDefaults: { ...defaults.columns(), member: member.column() },
    members: { symbol: symbol.column() },
  } satisfies Partial<Rules>;
}

function writeNodes(nodes: readonly MenuNode[], exprs: Conditions) {
  const { length } = nodes;
  const column = (): Int32Array => new Int32Array(length);
  const columns = {
    kind: column(),
    parent: column(),
    symbol: column(),
    choice: column(),
    dependencies: column(),
    visibleIf: column(),
  };
  const expr = new Numbers();
  const needs = new Numbers();
  const when = new Numbers();
  const visibleIf = new Numbers();
  const titles = new Properties(exprs);
  for (let id = 0; id < length; id += 1) {
    const node = nodes[id];
    if (!node) continue;
    for (let index = 0; index < node.dependencies.length; index += 1) {
      const line = node.dependencies[index];
      if (!line) continue;
      expr.push(exprs.rowOf(line.expr));
      needs.push(line.conditional ? exprs.rowOf(line.conditional.needs) : -1);
      when.push(line.conditional ? exprs.rowOf(line.conditional.when) : -1);
    }
    for (let index = 0; index < node.visibleIf.length; index += 1) {
      const condition = node.visibleIf[index];
      if (condition) visibleIf.push(exprs.rowOf(condition));
    }
    const title = titleOf(node);
    if (title) titles.addAll([title]);
    columns.kind[id] = kindCodes[node.kind];
    columns.parent[id] = node.parent?.id ?? -1;
    columns.symbol[id] = node.symbol?.id ?? -1;
    columns.choice[id] = node.choice?.id ?? -1;
    columns.dependencies[id] = expr.length;
    columns.visibleIf[id] = visibleIf.length;
  }
  return {
    nodes: columns,
    titles: titles.columns(),
    dependencies: {
      expr: expr.column(),
      needs: needs.column(),
      when: when.column(),
    },
    visibleIf: { expr: visibleIf.column() },
  } satisfies Partial<Rules>;
}

/** Numbers as they come, without the room for each that a list takes. */
class Numbers {
  length = 0;
  private numbers = new Int32Array(1 << 10);

  push(number: number): void {
    if (this.length === this.numbers.length) {
      const larger = new Int32Array(this.length * 2);
      larger.set(this.numbers);
      this.numbers = larger;
    }
    this.numbers[this.length] = number;
    this.length += 1;
  }

  column(): Int32Array {
    return this.numbers.subarray(0, this.length);
  }
}

/** The text of a menu or comment. */
export function titleOf({ symbol, choice, prompt }: MenuNode): Prompt | undefined {
  return symbol || choice ? undefined : prompt;
}

/** Attribute lines of one kind, in the order of those that have them. */
class Properties {
  private readonly exprs: Conditions;
  private readonly node = new Numbers();
  private readonly condition = new Numbers();

  constructor(exprs: Conditions) {
    this.exprs = exprs;
  }

  get count(): number {
    return this.node.length;
  }

  addAll(lines: readonly Property[]): void {
    for (let index = 0; index < lines.length; index += 1) {
      const line = lines[index];
      if (!line) continue;
      this.node.push(line.node.id);
      this.condition.push(line.condition ? this.exprs.rowOf(line.condition) : -1);
    }
  }

  columns(): PropertyColumns {
    return { node: this.node.column(), condition: this.condition.column() };
  }
}

/** More than there are symbols or conditions in any tree, so that two of them fit into one number; others take a text. */
const most = 1 << 24;

/** The conditions of a model, one row for all places where one stands; the same goes for what it is made of. */
class Conditions {
  private readonly operator = new Numbers();
  private readonly ends = new Numbers();
  private readonly operands = new Numbers();
  /** By symbol, the condition that is nothing but this symbol. */
  private readonly leaves: Int32Array;
  private readonly known = new Map<number | string, number>();

  constructor(symbols: number) {
    this.leaves = new Int32Array(symbols).fill(-1);
  }

  rowOf(expr: Expr): number {
    switch (expr.kind) {
      case 'symbol': {
        const { id } = expr.symbol;
        const known = this.leaves[id] ?? -1;
        if (known >= 0) return known;
        const row = this.add(operatorCodes.symbol, [id]);
        this.leaves[id] = row;
        return row;
      }
      case 'modular':
        return this.operation(operatorCodes.modular, []);
      case 'not':
        return this.operation(operatorCodes.not, [this.rowOf(expr.operand)]);
      case 'and':
        return this.operation(operatorCodes.and, this.rowsOf(expr.operands));
      case 'or':
        return this.operation(operatorCodes.or, this.rowsOf(expr.operands));
      case 'compare':
        return this.operation(operatorCodes[expr.operator], [expr.left.id, expr.right.id]);
    }
  }

  columns(): Pick<Rules, 'exprs' | 'operands'> {
    return {
      exprs: { operator: this.operator.column(), operands: this.ends.column() },
      operands: { row: this.operands.column() },
    };
  }

  private rowsOf(exprs: readonly Expr[]): readonly number[] {
    const rows: number[] = [];
    for (let index = 0; index < exprs.length; index += 1) {
      const expr = exprs[index];
      if (expr) rows.push(this.rowOf(expr));
    }
    return rows;
  }

  private operation(operator: number, operands: readonly number[]): number {
    const key = keyOf(operator, operands);
    const known = this.known.get(key);
    if (known !== undefined) return known;
    const row = this.add(operator, operands);
    this.known.set(key, row);
    return row;
  }

  private add(operator: number, operands: readonly number[]): number {
    for (let index = 0; index < operands.length; index += 1) this.operands.push(operands[index] ?? 0);
    this.ends.push(this.operands.length);
    this.operator.push(operator);
    return this.operator.length - 1;
  }
}

function keyOf(operator: number, operands: readonly number[]): number | string {
  const [first = 0, second = 0] = operands;
  if (operands.length > 2 || first >= most || second >= most) return `${operator} ${operands.join(' ')}`;
  return ((operator * 2 + (operands.length === 2 ? 1 : 0)) * most + first) * most + second;
}
