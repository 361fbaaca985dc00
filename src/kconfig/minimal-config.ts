import { activeDefault, calculate, choiceDefault, conditionOf, ensureValue, textOf } from './calculate.ts';
import { tristateAt, type EvalState } from './eval-state.ts';
import type { ConfigSymbol } from './model.ts';
import { configLine } from './write-config.ts';

/** The lines without which the defaults would give another configuration (conf_write_defconfig in confdata.c). */
export function minimalConfig(state: EvalState): string {
  const done = new Uint8Array(state.model.symbols.length);
  let text = '';
  for (const { symbol } of state.model.nodes) {
    if (!symbol || done[symbol.id] === 1) continue;
    ensureValue(state, symbol);
    if (state.written[symbol.id] === 0) continue;
    done[symbol.id] = 1;
    if (isOpen(state, symbol) && !isDefault(state, symbol)) text += configLine(state, symbol);
  }
  return text;
}

/** A person can set it otherwise. */
function isOpen(state: EvalState, { id }: ConfigSymbol): boolean {
  return tristateAt(state.visible, id) > tristateAt(state.selected, id);
}

function isDefault(state: EvalState, symbol: ConfigSymbol): boolean {
  if (textOf(state, symbol) === defaultText(state, symbol)) return true;
  const { choice } = symbol;
  if (!choice || choice.optional || symbol.type !== 'bool') return false;
  return tristateAt(state.tri, symbol.id) === 2 && choiceDefault(state, choice) === symbol;
}

/** What it would be if nobody set it; ranges are left out of account (sym_get_string_default in symbol.c). */
function defaultText(state: EvalState, symbol: ConfigSymbol): string {
  const { id, type, choice } = symbol;
  const active = activeDefault(state, symbol);
  if (type === 'bool' || type === 'tristate') {
    let value = active ? Math.min(calculate(state, active.value), conditionOf(state, active)) : 0;
    value = Math.max(value, tristateAt(state.selected, id));
    if (value === 1 && (type === 'bool' || (!choice && state.modules === 0))) value = 2;
    value = Math.max(value, tristateAt(state.implied, id));
    return value === 2 ? 'y' : value === 1 ? 'm' : 'n';
  }
  let text = '';
  if (active?.value.kind === 'symbol') {
    ensureValue(state, active.value.symbol);
    text = state.text[active.value.symbol.id] ?? '';
  }
  if (text !== '' || !state.model.dialect.emptyNumberIsZero) return text;
  return type === 'hex' ? '0x0' : type === 'int' ? '0' : '';
}
