import { quoted } from '../diagnostics/printable.ts';
import type { KconfigCode } from './codes.ts';
import type { DraftChoice, DraftNode, DraftSymbol } from './draft.ts';
import type { ConfigSymbol, Place, Selection } from './model.ts';
import type { SymbolType } from './rules.ts';
import { isNumberText } from './numbers.ts';
import type { ParseState } from './parse-state.ts';

/**
 * What the kernel's program says about entries once it has seen all of them (sym_check_prop in menu.c and the checks of
 * conf_parse): warnings, and errors where the tree is that strict.
 */
export function checkAttributes(state: ParseState): void {
  const { table, choices, dialect } = state;
  for (let index = 0; index < table.symbols.length; index += 1) {
    const symbol = table.symbols[index];
    const node = symbol?.nodes[0];
    if (!symbol || !node) continue;
    if (symbol.type === 'unknown') doubt(state, node, `${quoted(symbol.name)} has no type`);
    checkDefaults(state, symbol);
    checkSelections(state, symbol.selects, 'select');
    checkSelections(state, symbol.implies, 'imply');
    if (symbol.ranges.length > 0) checkRanges(state, symbol);
    if (symbol.transitional) checkTransitional(state, symbol, node);
  }
  for (const choice of choices) {
    for (const node of choice.nodes) {
      const code: KconfigCode = dialect.choiceHasValue ? 'kconfig/doubtful-entry' : 'kconfig/choice';
      if (!node.prompt) state.reports.atPlace(code, 'the choice has no prompt', node);
    }
    checkChoiceDefaults(state, choice);
    for (const { id } of choice.members) {
      const member = table.symbols[id];
      if (member) checkMember(state, choice, member);
    }
  }
}

function doubt(state: ParseState, place: Place, message: string): void {
  state.reports.atPlace('kconfig/doubtful-entry', message, place);
}

function isNumber(type: SymbolType): type is 'int' | 'hex' {
  return type === 'int' || type === 'hex';
}

/** A number, or a symbol that has one. */
function gives(type: 'int' | 'hex', value: ConfigSymbol): boolean {
  return isNumber(value.type) || (value.type === 'unknown' && isNumberText(type, value.name));
}

function checkDefaults(state: ParseState, { name, type, defaults }: DraftSymbol): void {
  if (type === 'bool' || type === 'tristate' || type === 'unknown') return;
  for (const one of defaults) {
    const { value } = one;
    if (value.kind !== 'symbol') {
      doubt(
        state,
        one,
        `the default of ${quoted(name)} counts for nothing: of ${type} it is one symbol or constant`,
      );
    } else if (isNumber(type) && !gives(type, value.symbol)) {
      doubt(state, one, `the default of ${quoted(name)} is no number: ${quoted(value.symbol.name)}`);
    }
  }
}

function isLogic(type: SymbolType): boolean {
  return type === 'bool' || type === 'tristate';
}

function checkSelections(state: ParseState, selections: readonly Selection[], verb: string): void {
  for (let index = 0; index < selections.length; index += 1) {
    const selection = selections[index];
    if (selection) checkSelection(state, selection, verb);
  }
}

function checkSelection(state: ParseState, selection: Selection, verb: string): void {
  const { selector, target } = selection;
  if (!isLogic(selector.type)) {
    doubt(state, selection, `${quoted(selector.name)} has a ${verb}, but is neither bool nor tristate`);
  } else if (target.type !== 'unknown' && !isLogic(target.type)) {
    const message = `\`${verb}\` does nothing to ${quoted(target.name)}, which is neither bool nor tristate`;
    doubt(state, selection, message);
  }
}

function checkRanges(state: ParseState, { name, type, ranges }: DraftSymbol): void {
  for (const range of ranges) {
    if (!isNumber(type)) doubt(state, range, `${quoted(name)} has a range, but is neither int nor hex`);
    else if (!gives(type, range.low) || !gives(type, range.high)) {
      doubt(state, range, `a bound of the range of ${quoted(name)} is no number`);
    }
  }
}

function checkTransitional(state: ParseState, symbol: DraftSymbol, node: DraftNode): void {
  let dependent = false;
  for (let one: DraftNode | undefined = node; one; one = one.parent) {
    dependent ||= one.dependencies.some(({ expr }) => !(expr.kind === 'symbol' && expr.symbol.id === 2));
  }
  const { prompts, defaults, ranges, selects, implies } = symbol;
  if (dependent || [prompts, defaults, ranges, selects, implies].some((list) => list.length > 0)) {
    const message = `${quoted(symbol.name)} is transitional: it may have a type and a help text, nothing else`;
    state.reports.atPlace('kconfig/transitional', message, node);
  }
}

function checkChoiceDefaults(state: ParseState, choice: DraftChoice): void {
  for (const one of choice.defaults) {
    if (one.member.choice === choice) continue;
    doubt(state, one, `the default of the choice is none of its members: ${quoted(one.member.name)}`);
  }
}

/** The menu or choice around an entry. */
function blockOf(node: DraftNode): DraftNode | undefined {
  let block = node.parent;
  while (block?.kind === 'if') block = block.parent;
  return block;
}

function checkMember(state: ParseState, choice: DraftChoice, member: DraftSymbol): void {
  const { dialect, reports } = state;
  const code: KconfigCode = dialect.choiceHasValue ? 'kconfig/doubtful-entry' : 'kconfig/choice';
  for (const one of member.defaults) {
    const name = quoted(member.name);
    reports.atPlace(
      code,
      `${name} is in a choice: it takes its value from there and can have no default`,
      one,
    );
  }
  const own = member.nodes.find((node) => blockOf(node)?.choice === choice);
  for (const prompt of member.prompts) {
    if (prompt.node === own) continue;
    const block = state.nodes[prompt.node.id];
    if (!dialect.transitional && block && blockOf(block)?.choice === choice) continue;
    reports.atPlace(code, `${quoted(member.name)} is in a choice and has a prompt elsewhere too`, prompt);
  }
}
