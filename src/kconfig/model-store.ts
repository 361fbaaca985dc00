/**
 * A model as bytes, and back: much faster than reading the tree again. What comes back may have lain in a cache that
 * others can write to, so every number in it is checked before it is believed.
 */
import { dialects, type Dialect } from './dialect.ts';
import { append, emptyList, type DraftChoice, type DraftNode, type DraftSymbol } from './draft.ts';
import type {
  ChoiceDefault,
  Comparison,
  Expr,
  MenuNode,
  Model,
  NodeKind,
  Property,
  SymbolType,
} from './model.ts';

/** Goes up when the layout or the meaning of any part changes. */
const version = 2;
const magic = 0x4b434d31;

const types: readonly SymbolType[] = ['unknown', 'bool', 'tristate', 'int', 'hex', 'string'];
const kinds: readonly NodeKind[] = ['root', 'menu', 'if', 'comment', 'config', 'menuconfig', 'choice'];
const comparisons: readonly Comparison[] = ['=', '!=', '<', '<=', '>', '>='];
/** Deeper conditions come out of no reader of ours. */
const deepest = 2000;

class Writer {
  readonly numbers: number[] = [];
  readonly strings: string[] = [];
  private readonly known = new Map<string, number>();

  number(value: number): void {
    this.numbers.push(value);
  }

  string(text: string): void {
    let index = this.known.get(text);
    if (index === undefined) {
      index = this.strings.length;
      this.strings.push(text);
      this.known.set(text, index);
    }
    this.numbers.push(index);
  }

  optional(index: number | undefined): void {
    this.numbers.push(index === undefined ? -1 : index);
  }

  expr(expr: Expr | undefined): void {
    if (!expr) {
      this.number(0);
      return;
    }
    switch (expr.kind) {
      case 'symbol':
        this.numbers.push(1, expr.symbol.id);
        return;
      case 'modular':
        this.number(2);
        return;
      case 'not':
        this.number(3);
        this.expr(expr.operand);
        return;
      case 'and':
      case 'or':
        this.numbers.push(expr.kind === 'and' ? 4 : 5, expr.operands.length);
        for (const operand of expr.operands) this.expr(operand);
        return;
      case 'compare':
        this.numbers.push(6 + comparisons.indexOf(expr.operator), expr.left.id, expr.right.id);
    }
  }

  order(order: Iterable<number> & { readonly length: number }): void {
    this.number(order.length);
    for (const index of order) this.number(index);
  }

  /** The attributes of one entry: `list` has those of all entries of a symbol, in their order. */
  properties<T extends Property>(list: readonly T[], node: MenuNode, write: (one: T) => void): void {
    const own = list.filter((one) => one.node === node);
    this.number(own.length);
    for (const one of own) {
      this.string(one.file);
      this.number(one.line);
      this.expr(one.condition);
      write(one);
    }
  }
}

/** Packs a model. */
export function storeModel(model: Model): Uint8Array {
  const writer = new Writer();
  const dialectName = JSON.stringify(model.dialect);
  writer.string(dialectName);
  writer.string(model.mainMenu);
  writer.number(model.files.length);
  for (const file of model.files) writer.string(file);
  writer.number(model.symbols.length);
  for (const symbol of model.symbols) {
    writer.string(symbol.name);
    writer.number(types.indexOf(symbol.type));
    const flags = [symbol.constant, symbol.allnoconfigY, symbol.transitional];
    writer.number(flags.reduce((bits, flag, index) => (flag ? bits | (1 << index) : bits), 0));
    writer.optional(symbol.choice?.id);
  }
  writer.number(model.choices.length);
  for (const choice of model.choices) {
    writer.number(choice.name === undefined ? 0 : 1);
    if (choice.name !== undefined) writer.string(choice.name);
    writer.number(types.indexOf(choice.type));
    writer.number(choice.optional ? 1 : 0);
    writer.number(choice.members.length);
    for (const member of choice.members) writer.number(member.id);
  }
  writer.number(model.nodes.length);
  for (const node of model.nodes) storeNode(writer, node);
  writer.optional(model.modules?.id);
  writer.optional(model.defconfigList?.id);
  writer.order(model.order);
  writer.order(model.readingOrder ?? []);
  return pack(writer);
}

function storeNode(writer: Writer, node: MenuNode): void {
  writer.number(kinds.indexOf(node.kind));
  writer.string(node.file);
  writer.number(node.line);
  writer.optional(node.parent?.id);
  writer.optional(node.symbol?.id ?? node.choice?.id);
  writer.optional(node.help?.start);
  writer.optional(node.help?.end);
  writer.number(node.dependencies.length);
  for (const { file, line, expr, conditional } of node.dependencies) {
    writer.string(file);
    writer.number(line);
    writer.expr(expr);
    writer.expr(conditional?.needs);
    writer.expr(conditional?.when);
  }
  writer.number(node.visibleIf.length);
  for (const expr of node.visibleIf) writer.expr(expr);
  const owner = node.symbol ?? node.choice;
  const prompts = owner?.prompts ?? (node.prompt ? [node.prompt] : []);
  writer.properties(prompts, node, ({ text }) => writer.string(text));
  if (node.symbol) {
    const { defaults, ranges, selects, implies } = node.symbol;
    writer.properties(defaults, node, ({ value }) => writer.expr(value));
    writer.properties(ranges, node, ({ low, high }) => writer.numbers.push(low.id, high.id));
    writer.properties(selects, node, ({ target }) => writer.number(target.id));
    writer.properties(implies, node, ({ target }) => writer.number(target.id));
  }
  if (node.choice) writer.properties(node.choice.defaults, node, ({ member }) => writer.number(member.id));
}

function pack({ numbers, strings }: Writer): Uint8Array {
  const text = new TextEncoder().encode(strings.join(''));
  const head = [magic, version, strings.length, numbers.length];
  const words = Int32Array.from([...head, ...strings.map(({ length }) => length)]);
  const body = Int32Array.from(numbers);
  const bytes = new Uint8Array(words.byteLength + body.byteLength + text.byteLength);
  bytes.set(new Uint8Array(words.buffer), 0);
  bytes.set(new Uint8Array(body.buffer), words.byteLength);
  bytes.set(text, words.byteLength + body.byteLength);
  return bytes;
}

/** Thrown inside this file when the bytes are none of a model. */
class Damaged extends Error {}

class Reader {
  private readonly numbers: Int32Array;
  private readonly strings: readonly string[];
  private position = 0;

  constructor(numbers: Int32Array, strings: readonly string[]) {
    this.numbers = numbers;
    this.strings = strings;
  }

  number(): number {
    const value = this.numbers[this.position];
    if (value === undefined) throw new Damaged();
    this.position += 1;
    return value;
  }

  /** How many of something follow: each takes a number at least. */
  count(): number {
    const value = this.number();
    if (value < 0 || value > this.numbers.length - this.position) throw new Damaged();
    return value;
  }

  string(): string {
    return this.oneOf(this.strings);
  }

  oneOf<T>(list: readonly T[]): T {
    const value = list[this.number()];
    if (value === undefined) throw new Damaged();
    return value;
  }

  optional<T>(list: readonly T[]): T | undefined {
    const index = this.number();
    if (index === -1) return undefined;
    this.position -= 1;
    return this.oneOf(list);
  }

  expr(symbols: readonly DraftSymbol[], leaves: Map<number, Expr>, depth = 0): Expr | undefined {
    if (depth > deepest) throw new Damaged();
    const code = this.number();
    switch (code) {
      case 0:
        return undefined;
      case 1: {
        const symbol = this.oneOf(symbols);
        let leaf = leaves.get(symbol.id);
        if (!leaf) {
          leaf = { kind: 'symbol', symbol };
          leaves.set(symbol.id, leaf);
        }
        return leaf;
      }
      case 2:
        return { kind: 'modular' };
      case 3:
        return { kind: 'not', operand: this.operand(symbols, leaves, depth) };
      case 4:
      case 5: {
        const operands: Expr[] = [];
        for (let left = this.count(); left > 0; left -= 1)
          operands.push(this.operand(symbols, leaves, depth));
        return { kind: code === 4 ? 'and' : 'or', operands };
      }
      default: {
        const operator = comparisons[code - 6];
        if (operator === undefined) throw new Damaged();
        return { kind: 'compare', operator, left: this.oneOf(symbols), right: this.oneOf(symbols) };
      }
    }
  }

  private operand(symbols: readonly DraftSymbol[], leaves: Map<number, Expr>, depth: number): Expr {
    const expr = this.expr(symbols, leaves, depth + 1);
    if (!expr) throw new Damaged();
    return expr;
  }

  atEnd(): boolean {
    return this.position === this.numbers.length;
  }

  numbersOf(length: number): Int32Array {
    const part = this.numbers.slice(this.position, this.position + length);
    this.position += length;
    return part;
  }
}

/**
 * Unpacks a model.
 *
 * @returns `undefined` when the bytes are of another version, damaged, or no model at all: read the tree then
 */
export function restoreModel(bytes: Uint8Array): Model | undefined {
  try {
    const reader = unpack(bytes);
    const model = reader && readModel(reader);
    return reader?.atEnd() === true ? model : undefined;
  } catch (error) {
    if (error instanceof Damaged) return undefined;
    throw error;
  }
}

function unpack(bytes: Uint8Array): Reader | undefined {
  // Numbers must start at a multiple of four; a part of a larger buffer may not.
  const own = bytes.byteOffset % 4 === 0 ? bytes : bytes.slice();
  if (own.byteLength < 16) return undefined;
  const [found, layout, strings = 0, numbers = 0] = new Int32Array(own.buffer, own.byteOffset, 4);
  const textStart = 4 * (4 + strings + numbers);
  if (found !== magic || layout !== version || strings < 0 || numbers < 0 || textStart > own.byteLength)
    return undefined;
  const lengths = new Int32Array(own.buffer, own.byteOffset + 16, strings);
  const body = new Int32Array(own.buffer, own.byteOffset + 16 + 4 * strings, numbers);
  const text = new TextDecoder().decode(own.subarray(textStart));
  const list: string[] = [];
  let start = 0;
  for (let index = 0; index < lengths.length; index += 1) {
    const end = start + (lengths[index] ?? 0);
    if (end < start || end > text.length) return undefined;
    list.push(text.slice(start, end));
    start = end;
  }
  return new Reader(body, list);
}

/** The names of the rules, all of them there and nothing else. */
function readDialect(text: string): Dialect {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch {
    throw new Damaged();
  }
  if (!isDialect(value)) throw new Damaged();
  return value;
}

function isDialect(value: unknown): value is Dialect {
  if (typeof value !== 'object' || value === null) return false;
  const found = new Map<string, unknown>(Object.entries(value));
  const expected = Object.entries(dialects['7.3']);
  return (
    found.size === expected.length &&
    Object.hasOwn(dialects, String(found.get('name'))) &&
    expected.every(([name, one]) => typeof found.get(name) === typeof one)
  );
}

function readModel(reader: Reader): Model {
  const dialect = readDialect(reader.string());
  const mainMenu = reader.string();
  const files: string[] = [];
  for (let left = reader.count(); left > 0; left -= 1) files.push(reader.string());
  const symbols: DraftSymbol[] = [];
  const byName = new Map<string, DraftSymbol>();
  const choiceOf: number[] = [];
  const symbolCount = reader.count();
  for (let id = 0; id < symbolCount; id += 1) {
    const symbol = readSymbol(reader, id);
    choiceOf.push(reader.number());
    symbols.push(symbol);
    if (!symbol.constant) byName.set(symbol.name, symbol);
  }
  const choices: DraftChoice[] = [];
  const choiceCount = reader.count();
  for (let id = 0; id < choiceCount; id += 1) choices.push(readChoice(reader, id, symbols));
  for (let id = 0; id < symbolCount; id += 1) {
    const symbol = symbols[id];
    const index = choiceOf[id] ?? -1;
    const choice = choices[index];
    if (!symbol || (index !== -1 && !choice)) throw new Damaged();
    symbol.choice = choice;
  }
  const nodes: DraftNode[] = [];
  const leaves = new Map<number, Expr>();
  const nodeCount = reader.count();
  for (let id = 0; id < nodeCount; id += 1) readNode(reader, { id, nodes, symbols, choices, leaves });
  if (
    !nodes[0] ||
    symbols
      .slice(0, 3)
      .map(({ name }) => name)
      .join('') !== 'nmy'
  )
    throw new Damaged();
  const modules = reader.optional(symbols);
  const defconfigList = reader.optional(symbols);
  const order = readOrder(reader, symbols, choices);
  const other = readOrder(reader, symbols, choices);
  const readingOrder = other.length > 0 ? other : undefined;
  return {
    dialect,
    symbols,
    byName,
    nodes,
    choices,
    modules,
    defconfigList,
    mainMenu,
    order,
    readingOrder,
    files,
  };
}

function readOrder(
  reader: Reader,
  { length: symbols }: readonly DraftSymbol[],
  { length: choices }: readonly DraftChoice[],
): Int32Array {
  const order = reader.numbersOf(reader.count());
  for (const index of order) if (index >= symbols || ~index >= choices) throw new Damaged();
  return order;
}

function readSymbol(reader: Reader, id: number): DraftSymbol {
  const name = reader.string();
  const type = reader.oneOf(types);
  const flags = reader.number();
  return {
    id,
    name,
    constant: (flags & 1) !== 0,
    type,
    nodes: emptyList(),
    prompts: emptyList(),
    defaults: emptyList(),
    ranges: emptyList(),
    selects: emptyList(),
    implies: emptyList(),
    selectedBy: emptyList(),
    impliedBy: emptyList(),
    choice: undefined,
    allnoconfigY: (flags & 2) !== 0,
    transitional: (flags & 4) !== 0,
  };
}

function readChoice(reader: Reader, id: number, symbols: readonly DraftSymbol[]): DraftChoice {
  const name = reader.number() === 0 ? undefined : reader.string();
  const type = reader.oneOf(types);
  const optional = reader.number() !== 0;
  const members: DraftSymbol[] = [];
  for (let left = reader.count(); left > 0; left -= 1) members.push(reader.oneOf(symbols));
  return {
    id,
    name,
    type,
    optional,
    nodes: emptyList(),
    prompts: emptyList(),
    defaults: emptyList(),
    members,
  };
}

interface Parts {
  readonly id: number;
  readonly nodes: DraftNode[];
  readonly symbols: readonly DraftSymbol[];
  readonly choices: readonly DraftChoice[];
  readonly leaves: Map<number, Expr>;
}

function readNode(reader: Reader, { id, nodes, symbols, choices, leaves }: Parts): void {
  const kind = reader.oneOf(kinds);
  const file = reader.string();
  const line = reader.number();
  const parent = reader.optional(nodes);
  if ((parent === undefined) !== (id === 0)) throw new Damaged();
  const isConfig = kind === 'config' || kind === 'menuconfig';
  const symbol = isConfig ? reader.oneOf(symbols) : undefined;
  const choice = kind === 'choice' ? reader.oneOf(choices) : undefined;
  if (!symbol && !choice) reader.number();
  const [start, end] = [reader.number(), reader.number()];
  const node: DraftNode = {
    id,
    kind,
    file,
    line,
    parent,
    children: emptyList(),
    symbol,
    choice,
    prompt: undefined,
    dependencies: emptyList(),
    visibleIf: emptyList(),
    help: start < 0 ? undefined : { start, end },
  };
  nodes.push(node);
  if (parent) parent.children = append(parent.children, node);
  if (symbol) symbol.nodes = append(symbol.nodes, node);
  if (choice) choice.nodes = append(choice.nodes, node);
  readAttributes(reader, node, symbols, leaves);
}

function readAttributes(
  reader: Reader,
  node: DraftNode,
  symbols: readonly DraftSymbol[],
  leaves: Map<number, Expr>,
): void {
  const { symbol, choice } = node;
  const needed = (): Expr => {
    const expr = reader.expr(symbols, leaves);
    if (!expr) throw new Damaged();
    return expr;
  };
  const property = (): Property => {
    const file = reader.string();
    const line = reader.number();
    return { file, line, node, condition: reader.expr(symbols, leaves) };
  };
  for (let left = reader.count(); left > 0; left -= 1) {
    const file = reader.string();
    const line = reader.number();
    const expr = needed();
    const needs = reader.expr(symbols, leaves);
    const when = reader.expr(symbols, leaves);
    const conditional = needs && when && { needs, when };
    node.dependencies = append(node.dependencies, { file, line, expr, conditional });
  }
  for (let left = reader.count(); left > 0; left -= 1) node.visibleIf = append(node.visibleIf, needed());
  const owner = symbol ?? choice;
  for (let left = reader.count(); left > 0; left -= 1) {
    const { file, line, condition } = property();
    const prompt = { file, line, node, condition, text: reader.string() };
    node.prompt = prompt;
    if (owner) owner.prompts = append(owner.prompts, prompt);
  }
  if (symbol) {
    for (let left = reader.count(); left > 0; left -= 1) {
      const { file, line, condition } = property();
      symbol.defaults = append(symbol.defaults, { file, line, node, condition, value: needed() });
    }
    for (let left = reader.count(); left > 0; left -= 1) {
      const { file, line, condition } = property();
      const [low, high] = [reader.oneOf(symbols), reader.oneOf(symbols)];
      symbol.ranges = append(symbol.ranges, { file, line, node, condition, low, high });
    }
    for (let left = reader.count(); left > 0; left -= 1) {
      const { file, line, condition } = property();
      const selection = { file, line, node, condition, selector: symbol, target: reader.oneOf(symbols) };
      symbol.selects = append(symbol.selects, selection);
      selection.target.selectedBy = append(selection.target.selectedBy, selection);
    }
    for (let left = reader.count(); left > 0; left -= 1) {
      const { file, line, condition } = property();
      const selection = { file, line, node, condition, selector: symbol, target: reader.oneOf(symbols) };
      symbol.implies = append(symbol.implies, selection);
      selection.target.impliedBy = append(selection.target.impliedBy, selection);
    }
  }
  if (!choice) return;
  for (let left = reader.count(); left > 0; left -= 1) {
    const { file, line, condition } = property();
    const one: ChoiceDefault = { file, line, node, condition, member: reader.oneOf(symbols) };
    choice.defaults = append(choice.defaults, one);
  }
}
