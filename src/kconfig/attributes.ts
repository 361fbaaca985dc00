import { quoted } from '../diagnostics/printable.ts';
import { append, type DraftNode } from './draft.ts';
import { isNo, readOperand } from './expression.ts';
import type { Expr, Prompt } from './model.ts';
import type { SymbolType } from './rules.ts';
import type { ParseState } from './parse-state.ts';
import { token, type Token } from './token.ts';

const types: ReadonlyMap<Token, SymbolType> = new Map([
  [token.bool, 'bool'],
  [token.tristate, 'tristate'],
  [token.int, 'int'],
  [token.hex, 'hex'],
  [token.string, 'string'],
]);

/**
 * Reads one attribute line of `entry`, up to the end of its line.
 *
 * @returns `false` when the token at hand starts no attribute that such an entry may have; then nothing was read
 */
export function readAttribute(state: ParseState, entry: DraftNode): boolean {
  switch (entry.kind) {
    case 'config':
    case 'menuconfig':
      return readConfigAttribute(state, entry);
    case 'choice':
      return readChoiceAttribute(state, entry);
    default:
      // A menu or a comment.
      if (entry.kind === 'menu' && state.lexer.kind === token.visible) readVisible(state, entry);
      else if (state.lexer.kind === token.depends) readDepends(state, entry);
      else return false;
      return true;
  }
}

function readConfigAttribute(state: ParseState, entry: DraftNode): boolean {
  const { lexer } = state;
  const { kind } = lexer;
  switch (kind) {
    case token.bool:
    case token.tristate:
    case token.int:
    case token.hex:
    case token.string:
      readTyped(state, entry, types.get(kind) ?? 'unknown');
      return true;
    case token.prompt:
      readPrompt(state, entry);
      return true;
    case token.default:
      readDefault(state, entry, undefined);
      return true;
    case token.defBool:
      readDefault(state, entry, 'bool');
      return true;
    case token.defTristate:
      readDefault(state, entry, 'tristate');
      return true;
    case token.select:
    case token.imply:
      readSelection(state, entry, kind === token.select);
      return true;
    case token.range:
      readRange(state, entry);
      return true;
    case token.depends:
      readDepends(state, entry);
      return true;
    case token.help:
      readHelp(state, entry);
      return true;
    case token.modules:
      if (state.dialect.optionKeyword) return false;
      lexer.next();
      if (state.expectEnd()) setModules(state, entry);
      return true;
    case token.transitional:
      lexer.next();
      if (state.expectEnd() && entry.symbol) entry.symbol.transitional = true;
      return true;
    case token.option:
      lexer.next();
      readOption(state, entry);
      return true;
    default:
      return false;
  }
}

function readChoiceAttribute(state: ParseState, entry: DraftNode): boolean {
  const { lexer, dialect } = state;
  const { kind } = lexer;
  switch (kind) {
    case token.prompt:
      readPrompt(state, entry);
      return true;
    case token.bool:
    case token.tristate:
      if (dialect.choiceHasValue) readTyped(state, entry, kind === token.bool ? 'bool' : 'tristate');
      else if (kind === token.bool && dialect.choiceTypePrompt) readPrompt(state, entry);
      else return false;
      return true;
    case token.optional:
      lexer.next();
      if (state.expectEnd() && entry.choice) entry.choice.optional = true;
      return true;
    case token.default:
      readChoiceDefault(state, entry);
      return true;
    case token.depends:
      readDepends(state, entry);
      return true;
    case token.help:
      readHelp(state, entry);
      return true;
    default:
      return false;
  }
}

/** A type, with or without a prompt behind it. */
function readTyped(state: ParseState, entry: DraftNode, type: SymbolType): void {
  const { lexer } = state;
  lexer.next();
  if (lexer.kind === token.quoted) {
    if (!readPromptText(state, entry)) return;
  } else if (!state.expectEnd()) return;
  state.setType(entry, type);
}

function readPrompt(state: ParseState, entry: DraftNode): void {
  state.lexer.next();
  if (state.lexer.kind === token.quoted) readPromptText(state, entry);
  else state.syntax(`a text in quotes belongs here, not ${state.shown()}`);
}

function readPromptText(state: ParseState, entry: DraftNode): boolean {
  const text = state.lexer.value();
  state.lexer.next();
  const condition = state.readIf();
  if (condition === false) return false;
  addPrompt(state, entry, text, condition);
  return true;
}

/** Gives an entry its text. A second one counts as well, but the entry is shown with the last. */
export function addPrompt(
  state: ParseState,
  entry: DraftNode,
  text: string,
  condition: Expr | undefined,
): void {
  const shown = text.replace(/^[ \t\n\v\f\r]+/, '');
  if (shown !== text) state.doubt(() => 'the blanks at the start of the text are ignored');
  if (entry.prompt) state.doubt(() => 'the entry has a prompt already');
  const { file, line } = state;
  const prompt: Prompt = { file, line, node: entry, condition, text: shown };
  entry.prompt = prompt;
  const owner = entry.symbol ?? entry.choice;
  if (owner) owner.prompts = append(owner.prompts, prompt);
}

function readDefault(state: ParseState, entry: DraftNode, type: SymbolType | undefined): void {
  state.lexer.next();
  const value = state.readDefaultValue();
  const condition = value && state.readIf();
  if (!value || condition === false || !entry.symbol) return;
  const { file, line } = state;
  entry.symbol.defaults = append(entry.symbol.defaults, { file, line, node: entry, condition, value });
  if (type !== undefined) state.setType(entry, type);
}

function readChoiceDefault(state: ParseState, entry: DraftNode): void {
  const { lexer, table } = state;
  lexer.next();
  if (lexer.kind !== token.word) {
    state.syntax(`the default of a choice is one of its members, not ${state.shown()}`);
    return;
  }
  const member = lexer.symbol(table);
  lexer.next();
  const condition = state.readIf();
  if (condition === false || !entry.choice) return;
  const { file, line } = state;
  entry.choice.defaults = append(entry.choice.defaults, { file, line, node: entry, condition, member });
}

function readSelection(state: ParseState, entry: DraftNode, isSelect: boolean): void {
  const { lexer, table } = state;
  lexer.next();
  if (lexer.kind !== token.word) {
    state.syntax(`the name of a symbol belongs here, not ${state.shown()}`);
    return;
  }
  const target = lexer.symbol(table);
  lexer.next();
  const condition = state.readIf();
  const selector = entry.symbol;
  if (condition === false || !selector) return;
  const { file, line } = state;
  const selection = { file, line, node: entry, condition, selector, target };
  if (isSelect) {
    selector.selects = append(selector.selects, selection);
    target.selectedBy = append(target.selectedBy, selection);
  } else {
    selector.implies = append(selector.implies, selection);
    target.impliedBy = append(target.impliedBy, selection);
  }
}

function readRange(state: ParseState, entry: DraftNode): void {
  const { lexer, table } = state;
  lexer.next();
  const low = readOperand(lexer, table);
  const high = low && readOperand(lexer, table);
  if (!low || !high) {
    state.syntax(`a range has two bounds; ${state.shown()} is none`);
    return;
  }
  const condition = state.readIf();
  if (condition === false || !entry.symbol) return;
  const { file, line } = state;
  entry.symbol.ranges = append(entry.symbol.ranges, { file, line, node: entry, condition, low, high });
}

function readDepends(state: ParseState, entry: DraftNode): void {
  const { lexer, dialect } = state;
  lexer.next();
  if (lexer.kind !== token.on) {
    state.syntax(`\`depends\` goes on with \`on\`, not with ${state.shown()}`);
    return;
  }
  lexer.next();
  const then = state.readCondition();
  if (!then) return;
  if (lexer.is(token.if) && !dialect.conditionalDepends) {
    state.syntax('this tree does not know `depends on` with `if`');
    return;
  }
  const when = state.readIf();
  if (when === false) return;
  const { file, line } = state;
  const expr = when ? weakened(state, then, when) : then;
  const conditional = when && { needs: then, when };
  entry.dependencies = append(entry.dependencies, { file, line, expr, conditional });
}

/** X || Y = n for `depends on X if Y`. */
function weakened({ table }: ParseState, then: Expr, when: Expr): Expr {
  const isOff = isNo(when, table.constant('n'), table.constant('m'));
  return { kind: 'or', operands: [then, isOff] };
}

function readVisible(state: ParseState, entry: DraftNode): void {
  state.lexer.next();
  const condition = state.readIf();
  if (condition) entry.visibleIf = append(entry.visibleIf, condition);
}

function readHelp(state: ParseState, entry: DraftNode): void {
  const { lexer, dialect } = state;
  lexer.next();
  if (!state.expectEnd()) return;
  const help = lexer.readHelp();
  const code = dialect.strictEntries ? 'kconfig/entry' : 'kconfig/doubtful-entry';
  const name = entry.symbol?.name ?? 'choice';
  if (entry.help) state.fault(code, `${quoted(name)} has more than one help text`);
  if (lexer.blankHelp) state.fault(code, `the help text of ${quoted(name)} is blank`);
  entry.help = help;
}

/** `option …` of older trees. */
function readOption(state: ParseState, entry: DraftNode): void {
  const { lexer } = state;
  const { kind } = lexer;
  if (kind !== token.modules && kind !== token.defconfigList && kind !== token.allnoconfigY) {
    state.syntax(`there is no option ${state.shown()}`);
    return;
  }
  lexer.next();
  if (!state.expectEnd() || !entry.symbol) return;
  if (kind === token.modules) setModules(state, entry);
  else if (kind === token.allnoconfigY) entry.symbol.allnoconfigY = true;
  else if (!state.defconfigList) state.defconfigList = entry.symbol;
  else if (state.defconfigList !== entry.symbol) {
    state.fault(
      'kconfig/modules-twice',
      `${quoted(state.defconfigList.name)} is the list of defconfigs already`,
    );
  }
}

function setModules(state: ParseState, entry: DraftNode): void {
  const { modules } = state;
  if (modules) {
    state.fault('kconfig/modules-twice', `${quoted(modules.name)} stands for modules already`);
  }
  state.modules = entry.symbol;
}
