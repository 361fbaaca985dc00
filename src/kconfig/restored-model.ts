/**
 * The records of a model over its tables: symbols, choices and entries are made at once, what they hold when it is first
 * asked for. A configuration asks for a part of it only, and what is not made takes no time.
 *
 * The fields of classes here are only declared: one that the compiler defines would be written twice.
 */
import { ConditionRecords } from './condition-records.ts';
import { append, emptyList } from './draft.ts';
import type {
  Choice,
  ChoiceDefault,
  ConfigSymbol,
  Default,
  Dependency,
  Expr,
  HelpSpan,
  MenuNode,
  Prompt,
  Property,
  Range,
  Selection,
} from './model.ts';
import type { StoredTables, Table, Tables } from './model-tables.ts';
import {
  allnoconfigY,
  constant,
  kinds,
  optional,
  startOf,
  transitional,
  types,
  type Column,
  type NodeKind,
  type SymbolType,
} from './rules.ts';

/** What a column names in a list; that it is there has been checked. */
function pick<T>(list: readonly T[], index: number | undefined): T {
  const found = list[index ?? 0];
  if (found === undefined) throw new RangeError(`there is no row ${index}`);
  return found;
}

function maybe<T>(list: readonly T[], index: number | undefined): T | undefined {
  return index === undefined || index < 0 ? undefined : list[index];
}

/** Things of one kind, each made once. */
class Made<T> {
  declare private things: (T | undefined)[] | undefined;
  declare private readonly count: number;
  declare private readonly make: (row: number) => T;

  constructor(count: number, make: (row: number) => T) {
    this.things = undefined;
    this.count = count;
    this.make = make;
  }

  at(row: number): T {
    if (!this.things) {
      this.things = [];
      this.things.length = this.count;
    }
    return (this.things[row] ??= this.make(row));
  }
}

/** Rows of a table as lists: that of an owner ends where a column says, and begins where that of the one before ends. */
class Lists<T> {
  declare private readonly lists: Made<readonly T[]>;
  declare private readonly ends: Column;

  constructor(ends: Column, item: (row: number) => T) {
    this.ends = ends;
    this.lists = new Made(ends.length, (owner) => {
      let list = emptyList<T>();
      const end = ends[owner] ?? 0;
      for (let row = startOf(ends, owner); row < end; row += 1) list = append(list, item(row));
      return list;
    });
  }

  of(owner: number): readonly T[] {
    return startOf(this.ends, owner) === this.ends[owner] ? emptyList() : this.lists.at(owner);
  }
}

/** The same where few have any: a column says whose a row is. */
class FewLists<T> {
  declare private lists: Map<number, readonly T[]> | undefined;
  declare private readonly owners: Column;
  declare private readonly item: (row: number) => T;

  constructor(owners: Column, item: (row: number) => T) {
    this.lists = undefined;
    this.owners = owners;
    this.item = item;
  }

  of(owner: number): readonly T[] {
    return (this.lists ??= this.make()).get(owner) ?? emptyList();
  }

  private make(): Map<number, readonly T[]> {
    const lists = new Map<number, readonly T[]>();
    for (let row = 0; row < this.owners.length; row += 1) {
      const owner = this.owners[row] ?? -1;
      lists.set(owner, append(lists.get(owner) ?? emptyList(), this.item(row)));
    }
    return lists;
  }
}

interface ListsOf<T> {
  of(owner: number): readonly T[];
}

/** All that the records of a model are made from. */
export class Parts {
  declare readonly symbols: RestoredSymbol[];
  declare readonly choices: RestoredChoice[];
  declare readonly nodes: RestoredNode[];
  declare readonly tables: Tables;
  declare readonly stored: StoredTables;
  declare readonly ofSymbol: { readonly [K in SymbolLists]: ListsOf<ConfigSymbol[K][number]> };
  declare readonly ofChoice: { readonly [K in ChoiceLists]: ListsOf<Choice[K][number]> };
  declare readonly ofNode: {
    readonly [K in NodeLists]: ListsOf<MenuNode[K][number]>;
  } & { readonly titles: ListsOf<Prompt> };
  declare private readonly conditions: ConditionRecords;

  constructor(stored: StoredTables) {
    const { tables } = stored;
    const { symbols, choices, nodes } = tables;
    this.stored = stored;
    this.tables = tables;
    this.ofSymbol = symbolLists(this);
    this.ofChoice = choiceLists(this);
    this.ofNode = nodeLists(this);
    this.choices = [];
    for (let id = 0; id < choices.type.length; id += 1) this.choices.push(new RestoredChoice(this, id));
    this.symbols = [];
    for (let id = 0; id < symbols.type.length; id += 1) this.symbols.push(new RestoredSymbol(this, id));
    this.conditions = new ConditionRecords(tables, this.symbols);
    this.nodes = [];
    for (let id = 0; id < nodes.kind.length; id += 1) this.nodes.push(new RestoredNode(this, id));
  }

  word(index = 0): string {
    return this.stored.word(index);
  }

  expr(index = 0): Expr {
    return this.conditions.at(index);
  }

  condition(index = -1): Expr | undefined {
    return index < 0 ? undefined : this.conditions.at(index);
  }
}

type SymbolLists =
  'nodes' | 'prompts' | 'defaults' | 'ranges' | 'selects' | 'implies' | 'selectedBy' | 'impliedBy';
type ChoiceLists = 'nodes' | 'prompts' | 'defaults' | 'members';
type NodeLists = 'children' | 'dependencies' | 'visibleIf';

function symbolLists(of: Parts): Parts['ofSymbol'] {
  const { symbols, symbolNodes, prompts, defaults, ranges, selected, implied, selects, implies } = of.tables;
  // A selection is in two lists.
  const select = new Made(selects.node.length, (row) => new RestoredSelection(of, selects, row));
  const imply = new Made(implies.node.length, (row) => new RestoredSelection(of, implies, row));
  return {
    nodes: new Lists(symbols.nodes, (row) => pick(of.nodes, symbolNodes.node[row])),
    prompts: new Lists(symbols.prompts, (row) => new RestoredPrompt(of, prompts, row)),
    defaults: new Lists(symbols.defaults, (row) => new RestoredDefault(of, defaults, row)),
    ranges: new Lists(symbols.ranges, (row) => new RestoredRange(of, ranges, row)),
    selects: new FewLists(selected.owner, (row) => select.at(selected.selection[row] ?? 0)),
    implies: new FewLists(implied.owner, (row) => imply.at(implied.selection[row] ?? 0)),
    selectedBy: new Lists(symbols.selectedBy, (row) => select.at(row)),
    impliedBy: new Lists(symbols.impliedBy, (row) => imply.at(row)),
  };
}

function choiceLists(of: Parts): Parts['ofChoice'] {
  const { choices, choiceNodes, choicePrompts, choiceDefaults, members } = of.tables;
  return {
    nodes: new Lists(choices.nodes, (row) => pick(of.nodes, choiceNodes.node[row])),
    prompts: new Lists(choices.prompts, (row) => new RestoredPrompt(of, choicePrompts, row)),
    defaults: new Lists(choices.defaults, (row) => new RestoredChoiceDefault(of, choiceDefaults, row)),
    members: new Lists(choices.members, (row) => pick(of.symbols, members.symbol[row])),
  };
}

function nodeLists(of: Parts): Parts['ofNode'] {
  const { nodes, children, titles, dependencies, visibleIf } = of.tables;
  return {
    children: new Lists(nodes.children, (row) => pick(of.nodes, children.node[row])),
    titles: new FewLists(titles.node, (row) => new RestoredPrompt(of, titles, row)),
    dependencies: new Lists(nodes.dependencies, (row): Dependency => {
      const [needs, when] = [of.condition(dependencies.needs[row]), of.condition(dependencies.when[row])];
      return {
        file: of.word(dependencies.file[row]),
        line: dependencies.line[row] ?? 0,
        expr: of.expr(dependencies.expr[row]),
        conditional: needs && when && { needs, when },
      };
    }),
    visibleIf: new Lists(nodes.visibleIf, (row) => of.expr(visibleIf.expr[row])),
  };
}

class RestoredSymbol implements ConfigSymbol {
  declare readonly id: number;
  declare readonly type: SymbolType;
  declare private readonly of: Parts;

  constructor(of: Parts, id: number) {
    this.id = id;
    this.type = pick(types, of.tables.symbols.type[id]);
    this.of = of;
  }

  get name(): string {
    return this.of.word(this.of.tables.symbols.name[this.id]);
  }

  get choice(): Choice | undefined {
    return maybe(this.of.choices, this.of.tables.symbols.choice[this.id]);
  }

  get constant(): boolean {
    return this.hasFlag(constant);
  }

  get allnoconfigY(): boolean {
    return this.hasFlag(allnoconfigY);
  }

  get transitional(): boolean {
    return this.hasFlag(transitional);
  }

  private hasFlag(flag: number): boolean {
    return ((this.of.tables.symbols.flags[this.id] ?? 0) & flag) !== 0;
  }

  get nodes(): readonly MenuNode[] {
    return this.of.ofSymbol.nodes.of(this.id);
  }

  get prompts(): readonly Prompt[] {
    return this.of.ofSymbol.prompts.of(this.id);
  }

  get defaults(): readonly Default[] {
    return this.of.ofSymbol.defaults.of(this.id);
  }

  get ranges(): readonly Range[] {
    return this.of.ofSymbol.ranges.of(this.id);
  }

  get selects(): readonly Selection[] {
    return this.of.ofSymbol.selects.of(this.id);
  }

  get implies(): readonly Selection[] {
    return this.of.ofSymbol.implies.of(this.id);
  }

  get selectedBy(): readonly Selection[] {
    return this.of.ofSymbol.selectedBy.of(this.id);
  }

  get impliedBy(): readonly Selection[] {
    return this.of.ofSymbol.impliedBy.of(this.id);
  }
}

class RestoredChoice implements Choice {
  declare readonly id: number;
  declare readonly name: string | undefined;
  declare readonly type: SymbolType;
  declare readonly optional: boolean;
  declare private readonly of: Parts;

  constructor(of: Parts, id: number) {
    const { name, type, flags } = of.tables.choices;
    const index = name[id] ?? -1;
    this.id = id;
    this.name = index < 0 ? undefined : of.stored.word(index);
    this.type = pick(types, type[id]);
    this.optional = ((flags[id] ?? 0) & optional) !== 0;
    this.of = of;
  }

  get nodes(): readonly MenuNode[] {
    return this.of.ofChoice.nodes.of(this.id);
  }

  get prompts(): readonly Prompt[] {
    return this.of.ofChoice.prompts.of(this.id);
  }

  get defaults(): readonly ChoiceDefault[] {
    return this.of.ofChoice.defaults.of(this.id);
  }

  get members(): readonly ConfigSymbol[] {
    return this.of.ofChoice.members.of(this.id);
  }
}

class RestoredNode implements MenuNode {
  declare readonly id: number;
  declare private readonly of: Parts;

  constructor(of: Parts, id: number) {
    this.id = id;
    this.of = of;
  }

  get kind(): NodeKind {
    return pick(kinds, this.of.tables.nodes.kind[this.id]);
  }

  get parent(): MenuNode | undefined {
    return maybe(this.of.nodes, this.of.tables.nodes.parent[this.id]);
  }

  get symbol(): ConfigSymbol | undefined {
    return maybe(this.of.symbols, this.of.tables.nodes.symbol[this.id]);
  }

  get choice(): Choice | undefined {
    return maybe(this.of.choices, this.of.tables.nodes.choice[this.id]);
  }

  get file(): string {
    return this.of.word(this.of.tables.nodes.file[this.id]);
  }

  get line(): number {
    return this.of.tables.nodes.line[this.id] ?? 0;
  }

  get help(): HelpSpan | undefined {
    const { helpStart, helpEnd } = this.of.tables.nodes;
    const start = helpStart[this.id] ?? -1;
    return start < 0 ? undefined : { start, end: helpEnd[this.id] ?? start };
  }

  get prompt(): Prompt | undefined {
    const owner = this.symbol ?? this.choice;
    return owner ? owner.prompts.findLast(({ node }) => node === this) : this.of.ofNode.titles.of(this.id)[0];
  }

  get children(): readonly MenuNode[] {
    return this.of.ofNode.children.of(this.id);
  }

  get dependencies(): readonly Dependency[] {
    return this.of.ofNode.dependencies.of(this.id);
  }

  get visibleIf(): readonly Expr[] {
    return this.of.ofNode.visibleIf.of(this.id);
  }
}

type LineColumns = Readonly<Record<'node' | 'file' | 'line' | 'condition', Column>>;

class RestoredProperty<C extends LineColumns> implements Property {
  declare protected readonly of: Parts;
  declare protected readonly columns: C;
  declare protected readonly row: number;

  constructor(of: Parts, columns: C, row: number) {
    this.of = of;
    this.columns = columns;
    this.row = row;
  }

  get node(): MenuNode {
    return pick(this.of.nodes, this.columns.node[this.row]);
  }

  get file(): string {
    return this.of.word(this.columns.file[this.row]);
  }

  get line(): number {
    return this.columns.line[this.row] ?? 0;
  }

  get condition(): Expr | undefined {
    return this.of.condition(this.columns.condition[this.row]);
  }
}

class RestoredPrompt extends RestoredProperty<Table<'prompts'>> implements Prompt {
  get text(): string {
    return this.of.stored.text(this.columns.text[this.row] ?? 0);
  }
}

class RestoredDefault extends RestoredProperty<Table<'defaults'>> implements Default {
  get value(): Expr {
    return this.of.expr(this.columns.value[this.row]);
  }
}

class RestoredRange extends RestoredProperty<Table<'ranges'>> implements Range {
  get low(): ConfigSymbol {
    return pick(this.of.symbols, this.columns.low[this.row]);
  }

  get high(): ConfigSymbol {
    return pick(this.of.symbols, this.columns.high[this.row]);
  }
}

class RestoredSelection extends RestoredProperty<Table<'selects'>> implements Selection {
  get selector(): ConfigSymbol {
    return pick(this.of.symbols, this.of.tables.nodes.symbol[this.columns.node[this.row] ?? 0]);
  }

  get target(): ConfigSymbol {
    return pick(this.of.symbols, this.columns.target[this.row]);
  }
}

class RestoredChoiceDefault extends RestoredProperty<Table<'choiceDefaults'>> implements ChoiceDefault {
  get member(): ConfigSymbol {
    return pick(this.of.symbols, this.columns.member[this.row]);
  }
}
