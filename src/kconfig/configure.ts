import { isInRange } from './calculate.ts';
import { createEvalState, forgetConditions, forgetValues, type EvalState } from './eval-state.ts';
import { evaluateAll, evaluationOf } from './evaluate.ts';
import type { Evaluation } from './evaluation.ts';
import { minimalConfig } from './minimal-config.ts';
import type { Model, Tristate } from './model.ts';
import { readConfig, type ConfigWarning } from './read-config.ts';
import { allnoconfigY, startOf, typeCodes } from './rules.ts';
import { inTableOrder } from './table-order.ts';
import { writeConfig } from './write-config.ts';

/** The ways in which the kernel's program makes a configuration without asking anybody. */
export type ConfigMode =
  /** A `.config` brought up to date. */
  | 'olddefconfig'
  /** From a defconfig file. */
  | 'defconfig'
  /** All defaults, all n, all y, all m; a preset is what `KCONFIG_ALLCONFIG` names. */
  | 'alldefconfig'
  | 'allnoconfig'
  | 'allyesconfig'
  | 'allmodconfig';

export interface Configuration {
  readonly evaluation: Evaluation;
  /** What is wrong with the text that was given. */
  readonly warnings: readonly ConfigWarning[];
  /** The `.config`, in latin1, byte for byte as the kernel's program writes it. */
  readonly text: string;
}

/**
 * Works out a configuration.
 *
 * @param config in latin1: the `.config`, the defconfig file or the preset; `undefined` when there is none
 */
export function configure(model: Model, mode: ConfigMode, config?: string): Configuration {
  const state = createEvalState(model);
  const warnings = config === undefined ? [] : readConfig(state, config);
  if (config !== undefined && (mode === 'olddefconfig' || mode === 'defconfig')) {
    evaluateAll(state, model.readingOrder);
    const again = hangsOnOrder(model) && warnings.length === 0 && saysAll(state);
    forgetOutOfRange(state);
    if (again) forgetValues(state);
  }
  if (mode !== 'olddefconfig') setNewSymbols(state, newValues[mode]);
  evaluateAll(state);
  return { evaluation: evaluationOf(state), warnings, text: writeConfig(state) };
}

/**
 * The shortest file from which `defconfig` makes the same configuration again: what `savedefconfig` makes of a `.config`.
 *
 * @param config the `.config`, in latin1
 */
export function saveDefconfig(model: Model, config: string): string {
  const state = createEvalState(model);
  readConfig(state, config);
  evaluateAll(state, model.readingOrder);
  forgetOutOfRange(state);
  forgetValues(state);
  evaluateAll(state);
  return minimalConfig(state);
}

/** Working out everything a second time may give something else: a symbol comes before modules are known, or a choice before its default. */
function hangsOnOrder({ modules, order, readingOrder }: Model): boolean {
  return readingOrder !== undefined || (modules !== undefined && order[0] !== modules.id);
}

/** Each symbol is what the configuration says of it: then the program works out everything again before it writes (conf_read). */
function saysAll({ model, rules, hasUser, written, userTri, tri, userText, text }: EvalState): boolean {
  const { type } = rules.symbols;
  for (let id = 0; id < type.length; id += 1) {
    if (model.defconfigList?.id === id) continue;
    if (hasUser[id] !== written[id]) return false;
    if (hasUser[id] === 0) continue;
    const isTristate = type[id] === typeCodes.bool || type[id] === typeCodes.tristate;
    if (isTristate ? userTri[id] !== tri[id] : userText[id] !== text[id]) return false;
  }
  return true;
}

const newValues: Readonly<Record<Exclude<ConfigMode, 'olddefconfig'>, Tristate | undefined>> = {
  defconfig: undefined,
  alldefconfig: undefined,
  allnoconfig: 0,
  allyesconfig: 2,
  allmodconfig: 1,
};

/** Gives a value to all that the configuration does not speak of (conf_set_all_new_symbols). */
function setNewSymbols(state: EvalState, value: Tristate | undefined): void {
  const { symbols, choices } = state.rules;
  const { choiceHasValue } = state.model.dialect;
  if (value !== undefined) {
    for (let id = 0; id < symbols.type.length; id += 1) {
      const type = symbols.type[id];
      if (state.hasUser[id] === 1 || (type !== typeCodes.bool && type !== typeCodes.tristate)) continue;
      if (startOf(symbols.prompts, id) === symbols.prompts[id]) continue;
      if (symbols.choice[id] !== -1 && !choiceHasValue) continue;
      const isYes = value === 0 && ((symbols.flags[id] ?? 0) & allnoconfigY) !== 0;
      state.userTri[id] = isYes ? 2 : value;
      state.hasUser[id] = 1;
    }
    for (let id = 0; id < choices.type.length; id += 1) {
      if (state.choiceHasUser[id] === 0) state.choiceUserTri[id] = value;
    }
  }
  if (choiceHasValue) state.choiceHasUser.fill(1);
  forgetValues(state);
}

/**
 * Older programs forget a number out of its range, so that its default comes instead. They do so after they have worked
 * out everything with the number moved to its bound, and do not work out again what rests on it.
 */
function forgetOutOfRange(state: EvalState): void {
  const { model } = state;
  if (!model.dialect.forgetsOutOfRange) return;
  const numbers = model.symbols.filter(
    ({ id, type }) => state.hasUser[id] === 1 && (type === 'int' || type === 'hex'),
  );
  for (const { id } of inTableOrder(numbers, model.dialect)) {
    if (isInRange(state, id, state.userText[id] ?? '')) continue;
    state.valid[id] = 0;
    state.hasUser[id] = 0;
    forgetConditions(state);
  }
}
