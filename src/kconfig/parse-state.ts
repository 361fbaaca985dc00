import { quoted } from '../diagnostics/printable.ts';
import type { KconfigCode } from './codes.ts';
import type { Dialect } from './dialect.ts';
import {
  append,
  emptyList,
  SymbolTable,
  type DraftChoice,
  type DraftNode,
  type DraftSymbol,
} from './draft.ts';
import { ExpressionReader } from './expression.ts';
import type { Lexer } from './lexer.ts';
import type { Expr } from './model.ts';
import type { NodeKind, SymbolType } from './rules.ts';
import type { Reports } from './reports.ts';
import { token } from './token.ts';

/** All that the readers of statements and of attributes share while a tree is read. */
export class ParseState {
  readonly table: SymbolTable = new SymbolTable();
  readonly nodes: DraftNode[] = [];
  readonly choices: DraftChoice[] = [];
  readonly files: string[] = [];
  modules: DraftSymbol | undefined;
  defconfigList: DraftSymbol | undefined;
  mainMenu = 'Main menu';
  /** The block that is open. */
  block: DraftNode;
  /** The choice that is open around it. */
  openChoice: DraftChoice | undefined;
  /** The entry whose attributes may follow. */
  entry: DraftNode | undefined;
  /** Where the statement starts. */
  file: string;
  line = 1;

  readonly lexer: Lexer;
  readonly reports: Reports;
  readonly dialect: Dialect;
  private readonly expressions: ExpressionReader;

  constructor(lexer: Lexer, reports: Reports, dialect: Dialect, file: string) {
    this.lexer = lexer;
    this.reports = reports;
    this.dialect = dialect;
    this.expressions = new ExpressionReader(lexer, this.table, (message) => this.syntax(message));
    this.file = file;
    this.block = this.makeNode('root', undefined, undefined, undefined);
  }

  /** Adds an entry to the open block. */
  addNode(kind: NodeKind, symbol?: DraftSymbol, choice?: DraftChoice): DraftNode {
    const node = this.makeNode(kind, this.block, symbol, choice);
    this.block.children = append(this.block.children, node);
    if (symbol) symbol.nodes = append(symbol.nodes, node);
    if (choice) choice.nodes = append(choice.nodes, node);
    return node;
  }

  setType(node: DraftNode, type: SymbolType): void {
    const typed = node.symbol ?? node.choice;
    if (!typed || typed.type === type) return;
    if (typed.type === 'unknown') {
      typed.type = type;
      return;
    }
    const { name, type: known } = typed;
    this.doubt(
      () => `${quoted(name ?? 'choice')} is ${known} already; that it is ${type} here counts for nothing`,
    );
  }

  /** A complaint about the whole statement. */
  fault(code: KconfigCode, message: string, help?: string): void {
    this.reports.atPlace(
      code,
      message,
      { file: this.file, line: this.line },
      { notes: this.lexer.includedFrom(), help },
    );
  }

  /** What the kernel's program accepts with a warning. */
  doubt(message: () => string): void {
    if (this.reports.wants('kconfig/doubtful-entry')) this.fault('kconfig/doubtful-entry', message());
  }

  /** A complaint about the token at hand. @returns `undefined`, for whoever has nothing else to return */
  syntax(message: string, help?: string): undefined {
    const { lexer } = this;
    lexer.complain('kconfig/syntax', message, lexer.start, lexer.end, help);
    lexer.skipLine();
    return undefined;
  }

  /** Reads `if …` at the end of a line. @returns `false` when it is wrong, which has been said then */
  readIf(): Expr | undefined | false {
    if (this.lexer.kind !== token.if) return this.expectEnd() ? undefined : false;
    this.lexer.next();
    const condition = this.readCondition();
    return condition && this.expectEnd() ? condition : false;
  }

  readCondition(): Expr | undefined {
    return this.expressions.read(true, 'condition');
  }

  readDefaultValue(): Expr | undefined {
    return this.expressions.read(false, 'default');
  }

  /** The statement must be at its end. */
  expectEnd(): boolean {
    const { kind } = this.lexer;
    if (kind === token.eol || kind === token.end) return true;
    this.syntax(`${this.shown()} is not expected here`);
    return false;
  }

  /** The token at hand, for a message. */
  shown(): string {
    const { lexer } = this;
    if (lexer.kind === token.eol || lexer.kind === token.end) return 'the end of the line';
    return quoted(lexer.text.slice(lexer.start, Math.min(lexer.end, lexer.start + 100)), 40);
  }

  private makeNode(
    kind: NodeKind,
    parent: DraftNode | undefined,
    symbol: DraftSymbol | undefined,
    choice: DraftChoice | undefined,
  ): DraftNode {
    const { file, line } = this;
    const node: DraftNode = {
      id: this.nodes.length,
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
      help: undefined,
    };
    this.nodes.push(node);
    return node;
  }
}
