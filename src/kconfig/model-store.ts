/**
 * A model as bytes, and back: much faster than reading the tree again. The format is that of `model-tables.ts`.
 */
import { dialects, type Dialect } from './dialect.ts';
import type { Choice, ConfigSymbol, Expr, MenuNode, Model, Property, Selection } from './model.ts';
import {
  Damaged,
  decodeTables,
  kinds,
  operators,
  TableWriter,
  types,
  type Operator,
  type Row,
  type StoredTables,
} from './model-tables.ts';
import { placeNames, SymbolNames } from './symbol-names.ts';
import { allnoconfigY, constant, optional, Parts, transitional } from './restored-model.ts';

/**
 * Packs a model.
 *
 * @throws RangeError when one of its texts is no latin1
 */
export function storeModel(model: Model): Uint8Array {
  return new ModelWriter().write(model);
}

class ModelWriter {
  private readonly tables = new TableWriter();
  private readonly exprs = new Map<string, number>();
  /** The row of each `select` and `imply`, which two symbols have in a list. */
  private readonly selections = new Map<Selection, number>();

  write(model: Model): Uint8Array {
    const { tables } = this;
    tables.add('model', {
      dialect: tables.word(JSON.stringify(model.dialect)),
      mainMenu: tables.text(model.mainMenu),
      modules: model.modules?.id ?? -1,
      defconfigList: model.defconfigList?.id ?? -1,
    });
    for (const path of model.files) tables.add('files', { path: tables.word(path) });
    for (const place of model.order) tables.add('order', { place });
    for (const place of model.readingOrder ?? []) tables.add('readingOrder', { place });
    for (const symbol of model.symbols) this.writeSymbol(symbol);
    for (const symbol of model.symbols) this.writeSelected(symbol);
    const names = placeNames(model.symbols.map(({ name, constant }) => (constant ? undefined : name)));
    for (const symbol of names) tables.add('names', { symbol });
    for (const choice of model.choices) this.writeChoice(choice);
    for (const node of model.nodes) this.writeNode(node);
    return tables.encode();
  }

  private writeSymbol(symbol: ConfigSymbol): void {
    const { tables, selections } = this;
    for (const { id } of symbol.nodes) tables.add('symbolNodes', { node: id });
    for (const one of symbol.prompts) {
      tables.add('prompts', { ...this.property(one), text: tables.text(one.text) });
    }
    for (const one of symbol.defaults) {
      tables.add('defaults', { ...this.property(one), value: this.expr(one.value) });
    }
    for (const one of symbol.ranges) {
      tables.add('ranges', { owner: symbol.id, ...this.property(one), low: one.low.id, high: one.high.id });
    }
    for (const one of symbol.selectedBy) {
      selections.set(one, tables.add('selects', { ...this.property(one), target: symbol.id }));
    }
    for (const one of symbol.impliedBy) {
      selections.set(one, tables.add('implies', { ...this.property(one), target: symbol.id }));
    }
    tables.add('symbols', {
      name: tables.word(symbol.name),
      type: types.indexOf(symbol.type),
      flags:
        (symbol.constant ? constant : 0) |
        (symbol.allnoconfigY ? allnoconfigY : 0) |
        (symbol.transitional ? transitional : 0),
      choice: symbol.choice?.id ?? -1,
      nodes: tables.count('symbolNodes'),
      prompts: tables.count('prompts'),
      defaults: tables.count('defaults'),
      selectedBy: tables.count('selects'),
    });
  }

  /** A selection is in a list of two symbols: here of the one that selects. */
  private writeSelected({ id: owner, selects, implies }: ConfigSymbol): void {
    const rowOf = (one: Selection): number => this.selections.get(one) ?? 0;
    for (const one of selects) this.tables.add('selected', { owner, selection: rowOf(one) });
    for (const one of implies) this.tables.add('implied', { owner, selection: rowOf(one) });
  }

  private writeChoice(choice: Choice): void {
    const { tables } = this;
    for (const { id } of choice.nodes) tables.add('choiceNodes', { node: id });
    for (const one of choice.prompts) {
      tables.add('choicePrompts', { ...this.property(one), text: tables.text(one.text) });
    }
    for (const one of choice.defaults) {
      tables.add('choiceDefaults', { ...this.property(one), member: one.member.id });
    }
    for (const { id } of choice.members) tables.add('members', { symbol: id });
    tables.add('choices', {
      name: choice.name === undefined ? -1 : tables.word(choice.name),
      type: types.indexOf(choice.type),
      flags: choice.optional ? optional : 0,
      nodes: tables.count('choiceNodes'),
      prompts: tables.count('choicePrompts'),
      defaults: tables.count('choiceDefaults'),
      members: tables.count('members'),
    });
  }

  private writeNode(node: MenuNode): void {
    const { tables } = this;
    const { symbol, choice, prompt, help } = node;
    for (const { id } of node.children) tables.add('children', { node: id });
    if (prompt && !symbol && !choice) {
      tables.add('titles', { ...this.property(prompt), text: tables.text(prompt.text) });
    }
    for (const { file, line, expr, conditional } of node.dependencies) {
      tables.add('dependencies', {
        file: tables.word(file),
        line,
        expr: this.expr(expr),
        needs: this.condition(conditional?.needs),
        when: this.condition(conditional?.when),
      });
    }
    for (const expr of node.visibleIf) tables.add('visibleIf', { owner: node.id, expr: this.expr(expr) });
    tables.add('nodes', {
      kind: kinds.indexOf(node.kind),
      file: tables.word(node.file),
      line: node.line,
      parent: node.parent?.id ?? -1,
      symbol: symbol?.id ?? -1,
      choice: choice?.id ?? -1,
      helpStart: help?.start ?? -1,
      helpEnd: help?.end ?? -1,
      children: tables.count('children'),
      dependencies: tables.count('dependencies'),
    });
  }

  private property({ node, file, line, condition }: Property): Omit<Row<'prompts'>, 'text'> {
    return { node: node.id, file: this.tables.word(file), line, condition: this.condition(condition) };
  }

  private condition(expr: Expr | undefined): number {
    return expr ? this.expr(expr) : -1;
  }

  /** The row of a condition: there is one for all places where it stands, and the same goes for its parts. */
  private expr(expr: Expr): number {
    switch (expr.kind) {
      case 'symbol':
        return this.operation(expr.kind, [expr.symbol.id]);
      case 'modular':
        return this.operation(expr.kind, []);
      case 'not':
        return this.operation(expr.kind, [this.expr(expr.operand)]);
      case 'and':
      case 'or': {
        const operands = expr.operands.map((operand) => this.expr(operand));
        return this.operation(expr.kind, operands);
      }
      case 'compare':
        return this.operation(expr.operator, [expr.left.id, expr.right.id]);
    }
  }

  private operation(operator: Operator, operands: readonly number[]): number {
    const { tables, exprs } = this;
    const key = `${operator} ${operands.join(' ')}`;
    const known = exprs.get(key);
    if (known !== undefined) return known;
    for (const row of operands) tables.add('operands', { row });
    const own = tables.add('exprs', {
      operator: operators.indexOf(operator),
      operands: tables.count('operands'),
    });
    exprs.set(key, own);
    return own;
  }
}

/**
 * Unpacks a model.
 *
 * @returns `undefined` when the bytes are of another version, damaged, or no model at all: read the tree then
 */
export function restoreModel(bytes: Uint8Array): Model | undefined {
  try {
    return modelOf(decodeTables(bytes));
  } catch (error) {
    if (error instanceof Damaged) return undefined;
    throw error;
  }
}

function modelOf(stored: StoredTables): Model {
  const { tables, word, text } = stored;
  const { dialect, mainMenu, modules, defconfigList } = tables.model;
  const { symbols, choices, nodes } = new Parts(stored);
  const readingOrder = tables.readingOrder.place;
  for (const [value, name] of ['n', 'm', 'y'].entries()) {
    if (symbols[value]?.name !== name || !symbols[value]?.constant) throw new Damaged();
  }
  return {
    dialect: readDialect(word(dialect[0] ?? 0)),
    symbols,
    byName: new SymbolNames(symbols, tables.names.symbol),
    nodes,
    choices,
    modules: symbols[modules[0] ?? -1],
    defconfigList: symbols[defconfigList[0] ?? -1],
    mainMenu: text(mainMenu[0] ?? 0),
    order: new Int32Array(tables.order.place),
    readingOrder: readingOrder.length > 0 ? new Int32Array(readingOrder) : undefined,
    files: Array.from(tables.files.path, word),
  };
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
