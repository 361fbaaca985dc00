/**
 * A model as bytes, and back: much faster than reading the tree again. The format is that of `model-tables.ts`.
 */
import { dialects, type Dialect } from './dialect.ts';
import type { ConfigSymbol, Model, Place, Prompt, Selection } from './model.ts';
import { Damaged, decodeTables, TableWriter, type StoredTables } from './model-tables.ts';
import { Parts } from './restored-model.ts';
import { placeNames, SymbolNames } from './symbol-names.ts';
import { titleOf } from './write-rules.ts';

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

  write(model: Model): Uint8Array {
    const { tables } = this;
    const { rules, files, order, readingOrder = [] } = model;
    tables.put('model', {
      dialect: [tables.word(JSON.stringify(model.dialect))],
      mainMenu: [tables.text(model.mainMenu)],
      modules: [model.modules?.id ?? -1],
      defconfigList: [model.defconfigList?.id ?? -1],
    });
    tables.put('files', { path: this.words(files) });
    tables.put('order', { place: order });
    tables.put('readingOrder', { place: readingOrder });
    this.putSymbols(model);
    this.putChoices(model);
    this.putNodes(model);
    tables.put('exprs', rules.exprs);
    tables.put('operands', rules.operands);
    return tables.encode();
  }

  private putSymbols({ symbols, rules }: Model): void {
    const { tables } = this;
    const prompts = symbols.flatMap((symbol) => symbol.prompts);
    const selects = symbols.flatMap((symbol) => symbol.selectedBy);
    const implies = symbols.flatMap((symbol) => symbol.impliedBy);
    const names = symbols.map(({ name, constant }) => (constant ? undefined : name));
    tables.put('symbols', { ...rules.symbols, name: this.words(symbols.map(({ name }) => name)) });
    tables.put('names', { symbol: placeNames(names) });
    tables.put('symbolNodes', rules.symbolNodes);
    tables.put('prompts', { ...rules.prompts, ...this.places(prompts), text: this.texts(prompts) });
    tables.put('defaults', {
      ...rules.defaults,
      ...this.places(symbols.flatMap((symbol) => symbol.defaults)),
    });
    tables.put('ranges', { ...rules.ranges, ...this.places(symbols.flatMap((symbol) => symbol.ranges)) });
    tables.put('selects', { ...rules.selects, ...this.places(selects), target: targetsOf(selects) });
    tables.put('implies', { ...rules.implies, ...this.places(implies), target: targetsOf(implies) });
    tables.put(
      'selected',
      selectionsOf(symbols, selects, ({ selects: own }) => own),
    );
    tables.put(
      'implied',
      selectionsOf(symbols, implies, ({ implies: own }) => own),
    );
  }

  private putChoices({ choices, rules }: Model): void {
    const { tables } = this;
    const prompts = choices.flatMap((choice) => choice.prompts);
    const nodes = choices.map((choice) => choice.nodes);
    tables.put('choices', {
      ...rules.choices,
      name: choices.map(({ name }) => (name === undefined ? -1 : tables.word(name))),
      nodes: endsOf(nodes),
    });
    tables.put('choiceNodes', { node: nodes.flat().map(({ id }) => id) });
    tables.put('choicePrompts', {
      ...rules.choicePrompts,
      ...this.places(prompts),
      text: this.texts(prompts),
    });
    tables.put('choiceDefaults', {
      ...rules.choiceDefaults,
      ...this.places(choices.flatMap((choice) => choice.defaults)),
    });
    tables.put('members', rules.members);
  }

  private putNodes({ nodes, rules }: Model): void {
    const { tables } = this;
    const children = nodes.map((node) => node.children);
    const titles = nodes.flatMap((node) => titleOf(node) ?? []);
    tables.put('nodes', {
      ...rules.nodes,
      ...this.places(nodes),
      helpStart: nodes.map(({ help }) => help?.start ?? -1),
      helpEnd: nodes.map(({ help }) => help?.end ?? -1),
      children: endsOf(children),
    });
    tables.put('children', { node: children.flat().map(({ id }) => id) });
    tables.put('titles', { ...rules.titles, ...this.places(titles), text: this.texts(titles) });
    tables.put('dependencies', {
      ...rules.dependencies,
      ...this.places(nodes.flatMap((node) => node.dependencies)),
    });
    tables.put('visibleIf', rules.visibleIf);
  }

  private words(texts: readonly string[]): readonly number[] {
    return texts.map((text) => this.tables.word(text));
  }

  private texts(prompts: readonly Prompt[]): readonly number[] {
    return prompts.map(({ text }) => this.tables.text(text));
  }

  private places(list: readonly Place[]): {
    readonly file: readonly number[];
    readonly line: readonly number[];
  } {
    return { file: list.map(({ file }) => this.tables.word(file)), line: list.map(({ line }) => line) };
  }
}

/** Where each list ends when they stand one behind the other. */
function endsOf(lists: readonly (readonly unknown[])[]): readonly number[] {
  let end = 0;
  return lists.map(({ length }) => (end += length));
}

function targetsOf(selections: readonly Selection[]): readonly number[] {
  return selections.map(({ target }) => target.id);
}

/** A selection is in a list of two symbols: here of the one that selects. */
function selectionsOf(
  symbols: readonly ConfigSymbol[],
  all: readonly Selection[],
  listOf: (symbol: ConfigSymbol) => readonly Selection[],
): { readonly owner: readonly number[]; readonly selection: readonly number[] } {
  const rows = new Map(all.map((one, row) => [one, row]));
  return {
    owner: symbols.flatMap((symbol) => listOf(symbol).map(() => symbol.id)),
    selection: symbols.flatMap((symbol) => listOf(symbol).map((one) => rows.get(one) ?? 0)),
  };
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
    rules: tables,
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
