import { quoted } from '../diagnostics/printable.ts';
import { checkAttributes } from './check-attributes.ts';
import { directMembers } from './choice-members.ts';
import { append, type DraftChoice } from './draft.ts';
import { orderSymbols } from './evaluation-order.ts';
import type { Model } from './model.ts';
import type { ParseState } from './parse-state.ts';
import { SymbolNames } from './symbol-names.ts';
import { rulesOf } from './write-rules.ts';

/** Works out all that hangs together over the whole tree, once its last statement has been read. */
export function finishModel(state: ParseState): Model {
  const { table, dialect, reports } = state;
  if (dialect.choiceHasValue) for (const choice of state.choices) gatherMembers(state, choice);
  checkAttributes(state);
  const records = {
    dialect,
    symbols: table.symbols,
    byName: new SymbolNames(table.symbols, table.slots),
    nodes: state.nodes,
    choices: state.choices,
    modules: state.modules,
    defconfigList: state.defconfigList,
    mainMenu: state.mainMenu,
    files: state.files,
  };
  const model = { ...records, rules: rulesOf(records) };
  return { ...model, ...orderSymbols(model, reports) };
}

/** In older trees the members of a choice, and types that only one of the two states, follow from the finished tree. */
function gatherMembers(state: ParseState, choice: DraftChoice): void {
  for (const node of choice.nodes) {
    if (choice.type === 'unknown') {
      choice.type =
        node.children.find(({ symbol }) => symbol && symbol.type !== 'unknown')?.symbol?.type ?? 'unknown';
    }
    for (const { symbol } of node.children) if (symbol?.type === 'unknown') symbol.type = choice.type;
    for (const member of directMembers(node)) {
      const { symbol } = member;
      if (!symbol || symbol.choice) continue;
      if (!member.prompt) {
        state.reports.atPlace(
          'kconfig/doubtful-entry',
          `${quoted(symbol.name)} is in a choice and has no prompt`,
          member,
        );
      }
      symbol.choice = choice;
      choice.members = append(choice.members, symbol);
    }
  }
}
