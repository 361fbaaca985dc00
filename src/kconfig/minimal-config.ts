import {
  activeDefault,
  choiceDefault,
  defaultSymbol,
  defaultValue,
  ensureValue,
  textOf,
} from './calculate.ts';
import type { EvalState } from './eval-state.ts';
import { optional, typeCodes } from './rules.ts';
import { configLine } from './write-config.ts';

/** The lines without which the defaults would give another configuration (conf_write_defconfig in confdata.c). */
export function minimalConfig(state: EvalState): string {
  const { symbols, nodes } = state.rules;
  const done = new Uint8Array(symbols.type.length);
  let text = '';
  for (let node = 0; node < nodes.symbol.length; node += 1) {
    const symbol = nodes.symbol[node] ?? -1;
    if (symbol < 0 || done[symbol] === 1) continue;
    ensureValue(state, symbol);
    if (state.written[symbol] === 0) continue;
    done[symbol] = 1;
    if (isOpen(state, symbol) && !isDefault(state, symbol)) text += configLine(state, symbol);
  }
  return text;
}

/** A person can set it otherwise. */
function isOpen(state: EvalState, symbol: number): boolean {
  return (state.visible[symbol] ?? 0) > (state.selected[symbol] ?? 0);
}

function isDefault(state: EvalState, symbol: number): boolean {
  if (textOf(state, symbol) === defaultText(state, symbol)) return true;
  const { symbols, choices } = state.rules;
  const choice = symbols.choice[symbol] ?? -1;
  if (choice < 0 || ((choices.flags[choice] ?? 0) & optional) !== 0) return false;
  if (symbols.type[symbol] !== typeCodes.bool) return false;
  return state.tri[symbol] === 2 && choiceDefault(state, choice) === symbol;
}

/** What it would be if nobody set it; ranges are left out of account (sym_get_string_default in symbol.c). */
function defaultText(state: EvalState, symbol: number): string {
  const { symbols } = state.rules;
  const type = symbols.type[symbol];
  const active = activeDefault(state, symbol);
  if (type === typeCodes.bool || type === typeCodes.tristate) {
    let value = active < 0 ? 0 : defaultValue(state, active);
    value = Math.max(value, state.selected[symbol] ?? 0);
    const isMember = symbols.choice[symbol] !== -1;
    if (value === 1 && (type === typeCodes.bool || (!isMember && state.modules === 0))) value = 2;
    value = Math.max(value, state.implied[symbol] ?? 0);
    return value === 2 ? 'y' : value === 1 ? 'm' : 'n';
  }
  let text = '';
  const from = defaultSymbol(state, active);
  if (from >= 0) {
    ensureValue(state, from);
    text = state.text[from] ?? '';
  }
  if (text !== '' || !state.model.dialect.emptyNumberIsZero) return text;
  return type === typeCodes.hex ? '0x0' : type === typeCodes.int ? '0' : '';
}
