/**
 * Tables of numbers, as which a model is kept: a row for each symbol, entry, attribute line and condition. A number is
 * what it says, or the row of another table, so that any row can be looked at without those before it.
 *
 *     magic, version
 *     sizes: of words and texts in bytes, the limits of lines and offsets, the number of rows of each table
 *     the columns of each table, one behind the other, each filled up to a multiple of four bytes
 *     all words, and all texts, one behind the other, in latin1
 *
 * Magic, version and sizes have 32 bits, the numbers of a column 8, 16 or 32, as many as the largest that could stand
 * there takes; all are in the byte order of the machine. Words are what nearly everybody asks for: names and paths.
 *
 * What comes back may have lain in a cache that others can write to: every number is checked before it is believed.
 */
import { decodeLatin1, encodeLatin1 } from './latin1.ts';
import { kindCodes, kinds, operators, startOf, types, type Column, type Operator } from './rules.ts';

/** Goes up when the layout or the meaning of any part changes. */
export const modelVersion = 5;
const magic = 0x4b434d31;

/**
 * What a column holds: the row of a table, the place in one of the lists of `rules.ts`, a line, an offset. Where `?` stands behind
 * it, -1 is for none. `X…` is where those rows of table X end that belong to this row; they begin where those of the row
 * before end.
 */
const layout = {
  model: { dialect: 'words', mainMenu: 'texts', modules: 'symbols?', defconfigList: 'symbols?' },
  words: { end: 'wordBytes…' },
  texts: { end: 'textBytes…' },
  files: { path: 'words' },
  /** The row of a symbol, or the complement of the row of a choice. */
  order: { place: 'place' },
  readingOrder: { place: 'place' },
  symbols: {
    name: 'words',
    type: 'type',
    flags: 'flags',
    choice: 'choices?',
    nodes: 'symbolNodes…',
    prompts: 'prompts…',
    defaults: 'defaults…',
    ranges: 'ranges…',
    selectedBy: 'selects…',
    impliedBy: 'implies…',
  },
  /** By the hash of a name, its symbol. */
  names: { symbol: 'symbols?' },
  symbolNodes: { node: 'nodes' },
  prompts: { node: 'nodes', file: 'words', line: 'lines', condition: 'exprs?', text: 'texts' },
  defaults: { node: 'nodes', file: 'words', line: 'lines', condition: 'exprs?', value: 'exprs' },
  ranges: {
    node: 'nodes',
    file: 'words',
    line: 'lines',
    condition: 'exprs?',
    low: 'symbols',
    high: 'symbols',
  },
  selected: { owner: 'symbols', selection: 'selects' },
  implied: { owner: 'symbols', selection: 'implies' },
  selects: { node: 'nodes', file: 'words', line: 'lines', condition: 'exprs?', target: 'symbols' },
  implies: { node: 'nodes', file: 'words', line: 'lines', condition: 'exprs?', target: 'symbols' },
  choices: {
    name: 'words?',
    type: 'type',
    flags: 'flags',
    nodes: 'choiceNodes…',
    prompts: 'choicePrompts…',
    defaults: 'choiceDefaults…',
    members: 'members…',
  },
  choiceNodes: { node: 'nodes' },
  choicePrompts: { node: 'nodes', file: 'words', line: 'lines', condition: 'exprs?', text: 'texts' },
  choiceDefaults: { node: 'nodes', file: 'words', line: 'lines', condition: 'exprs?', member: 'symbols' },
  members: { symbol: 'symbols' },
  nodes: {
    kind: 'kind',
    file: 'words',
    line: 'lines',
    parent: 'nodes?',
    symbol: 'symbols?',
    choice: 'choices?',
    helpStart: 'offsets?',
    helpEnd: 'offsets?',
    children: 'children…',
    dependencies: 'dependencies…',
    visibleIf: 'visibleIf…',
  },
  children: { node: 'nodes' },
  /** The texts of menus and comments. */
  titles: { node: 'nodes', file: 'words', line: 'lines', condition: 'exprs?', text: 'texts' },
  dependencies: { file: 'words', line: 'lines', expr: 'exprs', needs: 'exprs?', when: 'exprs?' },
  visibleIf: { expr: 'exprs' },
  exprs: { operator: 'operator', operands: 'operands…' },
  /** Symbols or conditions, as the operator has it. */
  operands: { row: 'operand' },
} as const;

type Layout = typeof layout;
export type TableName = keyof Layout;
type ColumnName<T extends TableName> = string & keyof Layout[T];
export type Table<T extends TableName> = Readonly<Record<ColumnName<T>, Column>>;
export type Tables = { readonly [T in TableName]: Table<T> };

const tableNames = Object.keys(layout) as readonly TableName[];
const columns = tableNames.flatMap((table) =>
  Object.entries<string>(layout[table]).map(([name, domain]) => {
    const [, what = '', mark = ''] = /^(\w+)([?…]?)$/.exec(domain) ?? [];
    return { table, name, what, mark };
  }),
);

/** In the order of the file. */
const sizeNames = ['wordBytes', 'textBytes', 'lines', 'offsets', ...tableNames] as const;
type Sizes = Readonly<Record<(typeof sizeNames)[number], number>>;

/** What the numbers of each domain are less than. */
function limitsOf(sizes: Sizes): ReadonlyMap<string, number> {
  return new Map<string, number>([
    ...Object.entries(sizes),
    ['type', types.length],
    ['kind', kinds.length],
    ['operator', operators.length],
    ['flags', 8],
    ['place', Math.max(sizes.symbols, sizes.choices)],
    ['operand', Math.max(sizes.symbols, sizes.exprs)],
  ]);
}

interface ColumnType {
  readonly BYTES_PER_ELEMENT: number;
  new (buffer: ArrayBufferLike, offset: number, length: number): Column;
  from(numbers: ArrayLike<number>): Column;
}

function columnType(limit: number): ColumnType {
  return limit <= 0x7f ? Int8Array : limit <= 0x7fff ? Int16Array : Int32Array;
}

/** Up to the next multiple of four. */
function filledUp(bytes: number): number {
  return Math.ceil(bytes / 4) * 4;
}

/** Puts tables together. */
export class TableWriter {
  private readonly tables = new Map<TableName, Readonly<Record<string, Column | readonly number[]>>>();
  private readonly words = new Texts();
  private readonly texts = new Texts();

  /** Each table is put in once. */
  put<T extends Exclude<TableName, 'words' | 'texts'>>(
    table: T,
    columns: Readonly<Record<ColumnName<T>, Column | readonly number[]>>,
  ): void {
    this.tables.set(table, columns);
  }

  word(text: string): number {
    return this.words.indexOf(text);
  }

  text(text: string): number {
    return this.texts.indexOf(text);
  }

  /** @throws RangeError when a text is no latin1 */
  encode(): Uint8Array {
    this.tables.set('words', { end: this.words.ends });
    this.tables.set('texts', { end: this.texts.ends });
    const sizes = {
      ...Object.fromEntries(tableNames.map((name) => [name, this.count(name)])),
      wordBytes: this.words.size,
      textBytes: this.texts.size,
      lines: 1 + this.most('lines'),
      offsets: 1 + this.most('offsets'),
    } as Sizes;
    const limits = limitsOf(sizes);
    const head = Int32Array.from([magic, modelVersion, ...sizeNames.map((name) => sizes[name])]);
    const parts: Uint8Array[] = [new Uint8Array(head.buffer)];
    for (const { table, name, what } of columns) {
      const column = columnType(limits.get(what) ?? 0).from(this.column(table, name));
      const bytes = new Uint8Array(filledUp(column.byteLength));
      bytes.set(new Uint8Array(column.buffer));
      parts.push(bytes);
    }
    parts.push(encodeLatin1(this.words.all()), encodeLatin1(this.texts.all()));
    const whole = new Uint8Array(parts.reduce((sum, { length }) => sum + length, 0));
    let at = 0;
    for (const part of parts) {
      whole.set(part, at);
      at += part.length;
    }
    return whole;
  }

  private count(table: TableName): number {
    const { name = '' } = columns.find((one) => one.table === table) ?? {};
    return this.column(table, name).length;
  }

  private column(table: TableName, name: string): ArrayLike<number> {
    return this.tables.get(table)?.[name] ?? [];
  }

  /** The largest number of a domain. */
  private most(domain: string): number {
    let most = 0;
    for (const { table, name, what } of columns) {
      if (what !== domain) continue;
      const column = this.column(table, name);
      for (let row = 0; row < column.length; row += 1) most = Math.max(most, column[row] ?? 0);
    }
    return most;
  }
}

/** Texts one behind the other, each of them once. */
class Texts {
  size = 0;
  readonly ends: number[] = [];
  private readonly known = new Map<string, number>();

  indexOf(text: string): number {
    const known = this.known.get(text);
    if (known !== undefined) return known;
    this.size += text.length;
    const index = this.ends.push(this.size) - 1;
    this.known.set(text, index);
    return index;
  }

  all(): string {
    return [...this.known.keys()].join('');
  }
}

// Loops go by index from here on: this runs once in a process, before it is compiled, where they are cheapest.

/** Thrown while a model is restored when the bytes are none of one. */
export class Damaged extends Error {}

export interface StoredTables {
  readonly tables: Tables;
  word(index: number): string;
  text(index: number): string;
}

/**
 * Finds the tables in what `encode` made, and looks at every number.
 *
 * @throws Damaged
 */
export function decodeTables(bytes: Uint8Array): StoredTables {
  // Numbers must start at a multiple of four; a part of a larger buffer may not.
  const { buffer, byteOffset, byteLength } = bytes.byteOffset % 4 === 0 ? bytes : bytes.slice();
  let at = 0;
  const take = (type: ColumnType, count: number): Column => {
    const start = at;
    at += filledUp(count * type.BYTES_PER_ELEMENT);
    if (count < 0 || at > byteLength) throw new Damaged();
    return new type(buffer, byteOffset + start, count);
  };
  const [mark, version] = take(Int32Array, 2);
  if (mark !== magic || version !== modelVersion) throw new Damaged();
  const numbers = take(Int32Array, sizeNames.length);
  const sizes = Object.fromEntries(sizeNames.map((name, index) => [name, numbers[index] ?? -1])) as Sizes;
  const limits = limitsOf(sizes);
  const found: Record<string, Record<string, Column>> = {};
  for (const { table, name, what, mark: domain } of columns) {
    const limit = limits.get(what) ?? 0;
    const column = take(columnType(limit), sizes[table]);
    if (domain === '…') checkEnds(column, limit);
    else if (what === 'place') checkColumn(column, -sizes.choices, sizes.symbols);
    // Lines and offsets lead nowhere: where they are wrong, a message is.
    else if (what !== 'lines' && what !== 'offsets') checkColumn(column, domain === '?' ? -1 : 0, limit);
    (found[table] ??= {})[name] = column;
  }
  const tables = found as Tables;
  if (sizes.model !== 1 || at + sizes.wordBytes + sizes.textBytes !== byteLength) throw new Damaged();
  checkNodes(tables);
  checkConditions(tables);
  checkNames(tables);
  const words = decodeLatin1(new Uint8Array(buffer, byteOffset + at, sizes.wordBytes));
  const texts = new Uint8Array(buffer, byteOffset + at + sizes.wordBytes, sizes.textBytes);
  const {
    words: { end: wordEnds },
    texts: { end: textEnds },
  } = tables;
  return {
    tables,
    word: (index) => words.slice(startOf(wordEnds, index), wordEnds[index]),
    text: (index) => decodeLatin1(texts.subarray(startOf(textEnds, index), textEnds[index])),
  };
}

function checkColumn(column: Column, least: number, limit: number): void {
  for (let row = 0; row < column.length; row += 1) {
    const value = column[row] ?? limit;
    if (value < least || value >= limit) throw new Damaged();
  }
}

/** Each part of a whole begins where the one before ends, and the last one ends with the whole. */
function checkEnds(ends: Column, whole: number): void {
  let last = 0;
  for (let row = 0; row < ends.length; row += 1) {
    const end = ends[row] ?? -1;
    if (end < last) throw new Damaged();
    last = end;
  }
  if (last !== whole) throw new Damaged();
}

/** Entries in entries, or conditions in conditions: more come out of no reader of ours. */
const deepest = 2000;
/** Symbols in one condition, counting each as often as it stands there. */
const longest = 4096;

/** A parent stands before its children; options and choices, and nothing else, are of a symbol or a choice. */
function checkNodes({ nodes, children, selects, implies }: Tables): void {
  const { kind, parent, symbol, choice } = nodes;
  const depth = new Int16Array(kind.length);
  const { config, menuconfig, choice: ofChoice } = kindCodes;
  if (parent[0] !== -1) throw new Damaged();
  for (let id = 0; id < kind.length; id += 1) {
    const what = kind[id];
    const above = parent[id] ?? -1;
    if (above >= id || (above < 0 && id > 0)) throw new Damaged();
    if (id > 0) depth[id] = (depth[above] ?? 0) + 1;
    if ((depth[id] ?? 0) > deepest) throw new Damaged();
    if ((symbol[id] !== -1) !== (what === config || what === menuconfig)) throw new Damaged();
    if ((choice[id] !== -1) !== (what === ofChoice)) throw new Damaged();
  }
  // Each once, where it belongs: an entry that had itself below would have no end.
  for (let id = 0, at = 0; id < kind.length; id += 1) {
    for (let last = id, end = nodes.children[id] ?? 0; at < end; at += 1) {
      const child = children.node[at] ?? 0;
      if (child <= last || parent[child] !== id) throw new Damaged();
      last = child;
    }
  }
  for (const { node } of [selects, implies]) {
    for (let row = 0; row < node.length; row += 1) if (symbol[node[row] ?? 0] === -1) throw new Damaged();
  }
}

/** Operands are symbols, or conditions that stand before; nothing grows without bounds when it is written out. */
function checkConditions({ exprs, operands, symbols }: Tables): void {
  const { operator, operands: ends } = exprs;
  const depth = new Int16Array(operator.length);
  const size = new Int16Array(operator.length);
  for (let row = 0, at = 0; row < operator.length; row += 1) {
    const first = at;
    const what = operators[operator[row] ?? 0];
    const isNested = what === 'not' || what === 'and' || what === 'or';
    let deep = 0;
    let long = 1;
    for (const end = ends[row] ?? 0; at < end; at += 1) {
      const operand = operands.row[at] ?? -1;
      if (operand >= (isNested ? row : symbols.name.length)) throw new Damaged();
      if (!isNested) continue;
      const below = 1 + (depth[operand] ?? 0);
      if (below > deep) deep = below;
      long += size[operand] ?? 0;
      if (deep > deepest || long > longest) throw new Damaged();
    }
    depth[row] = deep;
    size[row] = long;
    if (!takes(what, at - first)) throw new Damaged();
  }
}

/** A name that is not there is looked for up to a free slot. */
function checkNames({ names: { symbol } }: Tables): void {
  if (!symbol.includes(-1) || (symbol.length & (symbol.length - 1)) !== 0) throw new Damaged();
}

function takes(operator: Operator | undefined, operands: number): boolean {
  switch (operator) {
    case 'modular':
      return operands === 0;
    case 'symbol':
    case 'not':
      return operands === 1;
    case 'and':
    case 'or':
      return operands > 0;
    default:
      return operands === 2;
  }
}
