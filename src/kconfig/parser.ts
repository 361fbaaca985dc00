import { quoted } from '../diagnostics/printable.ts';
import { addPrompt, readAttribute } from './attributes.ts';
import { append, emptyList, type DraftChoice, type DraftNode } from './draft.ts';
import type { Macros, Flavor } from './macros.ts';
import type { NodeKind } from './rules.ts';
import type { ParseState } from './parse-state.ts';
import { token, type Token } from './token.ts';
import type { TreeFiles } from './tree-files.ts';

/** Real trees stay below ten; beyond this a text is meant to break its reader. */
const deepestBlocks = 1000;
const deepestSources = 200;
const mostFiles = 50_000;
const mostText = 100_000_000;

const flavors: ReadonlyMap<Token, Flavor> = new Map([
  [token.equal, 'recursive'],
  [token.colonEqual, 'simple'],
  [token.plusEqual, 'append'],
]);

const blockOfEnd: ReadonlyMap<Token, NodeKind> = new Map([
  [token.endmenu, 'menu'],
  [token.endchoice, 'choice'],
  [token.endif, 'if'],
]);

/**
 * Reads the statements of a tree, from the file that `state.lexer` stands at to the end of all that it sources. What is
 * not closed, and what is wrong, is in the reports afterwards.
 */
export function parseStatements(state: ParseState, files: TreeFiles, macros: Macros): void {
  const { lexer, reports, dialect } = state;
  const named = new Map<string, DraftChoice>();
  const sourced = new Set<string>([lexer.file]);
  let depth = 0;
  let read = 0;
  let textRead = lexer.text.length;

  function closeEntry(): void {
    const { entry } = state;
    state.entry = undefined;
    if (!entry?.symbol) return;
    if (entry.kind === 'menuconfig' && !entry.prompt) {
      const code = dialect.strictEntries ? 'kconfig/entry' : 'kconfig/doubtful-entry';
      reports.atPlace(code, `the menu of ${quoted(entry.symbol.name)} has no prompt`, entry);
    }
    if (state.openChoice && !dialect.choiceHasValue) checkMember(entry, state.openChoice);
  }

  /** In newer trees a member of a choice is a bool with a prompt, and nothing else. */
  function checkMember(entry: DraftNode, choice: DraftChoice): void {
    const { symbol } = entry;
    if (!symbol) return;
    const { name } = symbol;
    if (!entry.prompt)
      reports.atPlace('kconfig/choice', `${quoted(name)} is in a choice and has no prompt`, entry);
    if (symbol.type !== 'bool')
      reports.atPlace('kconfig/choice', `${quoted(name)} is in a choice and not bool`, entry);
    if (symbol.choice) return;
    symbol.choice = choice;
    choice.members = append(choice.members, symbol);
  }

  function open(node: DraftNode): void {
    depth += 1;
    if (depth > deepestBlocks) {
      state.fault('kconfig/too-deep', 'blocks are nested too deeply');
      lexer.stop();
    }
    state.block = node;
    if (node.choice) state.openChoice = node.choice;
  }

  function readConfig(kind: 'config' | 'menuconfig'): void {
    lexer.next();
    if (lexer.kind !== token.word) {
      state.syntax(`the name of a symbol belongs here, not ${state.shown()}`);
      return;
    }
    const symbol = lexer.symbol(state.table);
    lexer.next();
    if (!state.expectEnd()) return;
    state.entry = state.addNode(kind, symbol);
  }

  function readChoice(): void {
    lexer.next();
    let name: string | undefined;
    if (dialect.choiceHasValue && lexer.kind === token.word) {
      name = lexer.value();
      lexer.next();
    }
    if (!state.expectEnd()) return;
    const known = name === undefined ? undefined : named.get(name);
    const choice = known ?? newChoice(name);
    state.entry = state.addNode('choice', undefined, choice);
    open(state.entry);
  }

  function newChoice(name: string | undefined): DraftChoice {
    const choice: DraftChoice = {
      id: state.choices.length,
      name,
      type: dialect.choiceHasValue ? 'unknown' : 'bool',
      optional: false,
      nodes: emptyList(),
      prompts: emptyList(),
      defaults: emptyList(),
      members: emptyList(),
    };
    state.choices.push(choice);
    if (name !== undefined) named.set(name, choice);
    return choice;
  }

  function readTitled(kind: 'menu' | 'comment'): void {
    const text = readText();
    if (text === undefined) return;
    const node = state.addNode(kind);
    state.entry = node;
    addPrompt(state, node, text, undefined);
    if (kind === 'menu') open(node);
  }

  /** A text in quotes and the end of the line. */
  function readText(): string | undefined {
    lexer.next();
    if (lexer.kind !== token.quoted)
      return state.syntax(`a text in quotes belongs here, not ${state.shown()}`);
    const text = lexer.value();
    lexer.next();
    return state.expectEnd() ? text : undefined;
  }

  function readIfBlock(): void {
    lexer.next();
    const expr = state.readCondition();
    if (!expr || !state.expectEnd()) return;
    const node = state.addNode('if');
    const { file, line } = state;
    node.dependencies = [{ file, line, expr, conditional: undefined }];
    open(node);
  }

  function readEnd(ends: NodeKind): void {
    const { block } = state;
    if (block.kind === 'root') {
      state.syntax(`${state.shown()} closes nothing: no block is open`);
      return;
    }
    const end = state.shown();
    lexer.next();
    if (!state.expectEnd()) return;
    if (block.kind !== ends) {
      const opened = `the \`${block.kind}\` of ${block.file}:${block.line}`;
      state.fault(
        'kconfig/wrong-end',
        `${end} stands where ${opened} is open`,
        `close it with \`end${block.kind}\``,
      );
    } else if (lexer.start === lexer.end) {
      // There is no line feed: when the program comes to the end of the line, it has left the file.
      const message = `no line feed follows ${end}: the block counts as closed by another file`;
      state.fault('kconfig/wrong-end', message, 'end the file with a line feed');
    } else if (block.file !== lexer.file) {
      const message = `${end} closes a block of another file: ${block.file}:${block.line}`;
      state.fault('kconfig/wrong-end', message, 'open and close a block in the same file');
    }
    depth -= 1;
    state.block = block.parent ?? block;
    if (block.kind === 'choice') state.openChoice = undefined;
  }

  function readSource(): void {
    const path = readText();
    if (path === undefined) return;
    if (lexer.isOpen(path)) {
      state.fault('kconfig/recursive-source', `${quoted(path)} sources itself`);
      return;
    }
    if (dialect.sourceOnce && sourced.has(path)) {
      state.fault('kconfig/repeated-source', `${quoted(path)} is sourced a second time`);
      return;
    }
    const text = files.read(path);
    if (text === undefined) {
      // A name that hangs on an unknown answer says nothing yet.
      if (macros.missing.size === 0) {
        state.fault('kconfig/missing-file', `there is no file ${quoted(path, 120)} in the tree`);
      }
      return;
    }
    read += 1;
    textRead += text.length;
    if (read > mostFiles || textRead > mostText) {
      state.fault('kconfig/too-large', 'files are sourced without end');
      lexer.stop();
    } else if (lexer.depth() >= deepestSources) {
      state.fault('kconfig/too-deep', 'files are nested too deeply');
      lexer.stop();
    } else {
      if (!sourced.has(path)) state.files.push(path);
      sourced.add(path);
      lexer.enter(path, text);
    }
  }

  /** A word at the start of a statement is assigned to, or unknown. */
  function readWord(): void {
    const name = lexer.value();
    const { start, end, afterHelp } = lexer;
    lexer.next();
    const flavor = flavors.get(lexer.kind);
    if (flavor !== undefined && !afterHelp) {
      const value = lexer.readAssigned();
      macros.assign(name, value, flavor);
      lexer.next();
      return;
    }
    const help =
      flavor === undefined
        ? undefined
        : 'an assignment cannot follow a help text; put another statement between them';
    lexer.complain('kconfig/syntax', `there is no statement ${quoted(name, 40)}`, start, end, help);
    lexer.skipLine();
  }

  function readStatement(): void {
    const { kind } = lexer;
    if (state.entry) {
      if (readAttribute(state, state.entry)) return;
      closeEntry();
    }
    const end = blockOfEnd.get(kind);
    if (end !== undefined) {
      readEnd(end);
      return;
    }
    if (state.openChoice && kind !== token.config && kind !== token.if && kind !== token.comment) {
      state.syntax(`${state.shown()} cannot stand in a choice`);
      return;
    }
    switch (kind) {
      case token.config:
        readConfig('config');
        return;
      case token.menuconfig:
        readConfig('menuconfig');
        return;
      case token.choice:
        readChoice();
        return;
      case token.menu:
        readTitled('menu');
        return;
      case token.comment:
        readTitled('comment');
        return;
      case token.if:
        readIfBlock();
        return;
      case token.source:
        readSource();
        return;
      case token.word:
        readWord();
        return;
      default:
        state.syntax(`${state.shown()} cannot stand here`);
    }
  }

  lexer.next();
  if (lexer.kind === token.mainmenu) {
    state.file = lexer.file;
    state.line = lexer.statementLine;
    state.mainMenu = readText()?.trimStart() ?? state.mainMenu;
    lexer.next();
  }
  while (lexer.kind !== token.end && !reports.full()) {
    state.file = lexer.file;
    state.line = lexer.statementLine;
    readStatement();
    if (lexer.kind !== token.end) lexer.next();
  }
  closeEntry();
  for (let block: DraftNode | undefined = state.block; block?.parent; block = block.parent) {
    if (reports.full()) break;
    reports.atPlace('kconfig/open-block', `the \`${block.kind}\` that starts here is not closed`, block);
  }
}
