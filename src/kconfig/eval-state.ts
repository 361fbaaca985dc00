import type { Model, Tristate } from './model.ts';
import { membersOf, startOf, typeCodes, type Rules } from './rules.ts';

/**
 * The values of a model while they are worked out, by index of symbol, choice or entry. It follows what the kernel's
 * program keeps in its symbols, since some of its results rest on what it has worked out before.
 */
export interface EvalState {
  readonly model: Model;
  readonly rules: Rules;
  readonly tri: Uint8Array;
  /** What the program has as text: of a bool or tristate always `n` (symbol.curr.val); of what nothing defines its name. */
  readonly text: string[];
  readonly visible: Uint8Array;
  readonly dependencies: Uint8Array;
  readonly selected: Uint8Array;
  readonly implied: Uint8Array;
  readonly valid: Uint8Array;
  readonly written: Uint8Array;
  /** What the configuration asks for. */
  readonly hasUser: Uint8Array;
  readonly userTri: Uint8Array;
  readonly userText: (string | undefined)[];
  /** By entry: whether there is a dependency at all, what they come to, and what `visible if` around it comes to. */
  readonly dependent: Uint8Array;
  readonly nodeValue: Uint8Array;
  readonly nodeVisible: Uint8Array;
  /** By choice. */
  readonly choiceValid: Uint8Array;
  readonly mode: Uint8Array;
  /** A symbol, or -1. */
  readonly chosen: Int32Array;
  /** Older trees: what the configuration asks of the choice itself; the member that it names, or -1. */
  readonly choiceHasUser: Uint8Array;
  readonly choiceUserTri: Uint8Array;
  readonly choiceUser: Int32Array;
  /** Newer trees: members in the order in which the configuration prefers them, the last mentioned first. */
  readonly priority: number[][];
  readonly unmet: Set<number>;
  /** The symbol that says whether there are modules, or -1; and its value, n until it is known. */
  readonly modulesSymbol: number;
  modules: number;
}

/** No tristate: not worked out yet. */
export const pending = 3;

export function createEvalState(model: Model): EvalState {
  const { rules, symbols } = model;
  const count = symbols.length;
  const entries = rules.nodes.kind.length;
  const choices = rules.choices.type.length;
  const bytes = (length: number): Uint8Array => new Uint8Array(length);
  const state: EvalState = {
    model,
    rules,
    tri: bytes(count),
    text: undefinedTexts(model),
    visible: bytes(count),
    dependencies: bytes(count),
    selected: bytes(count),
    implied: bytes(count),
    valid: bytes(count),
    written: bytes(count),
    hasUser: bytes(count),
    userTri: bytes(count),
    userText: [],
    dependent: dependentEntries(model),
    nodeValue: bytes(entries).fill(pending),
    nodeVisible: bytes(entries).fill(pending),
    choiceValid: bytes(choices),
    mode: bytes(choices),
    chosen: new Int32Array(choices).fill(-1),
    choiceHasUser: bytes(choices),
    choiceUserTri: bytes(choices),
    choiceUser: new Int32Array(choices).fill(-1),
    priority: Array.from({ length: choices }, (_, id) => membersOf(rules, id)),
    unmet: new Set(),
    modulesSymbol: model.modules?.id ?? -1,
    modules: 0,
  };
  markConstants(state);
  return state;
}

/** The names of all that nothing defines. */
function undefinedTexts({ symbols, rules }: Model): string[] {
  const { type } = rules.symbols;
  const texts: string[] = [];
  for (let id = 0; id < type.length; id += 1) {
    texts.push(type[id] === typeCodes.unknown ? (symbols[id]?.name ?? '') : '');
  }
  return texts;
}

function dependentEntries({ rules, dialect }: Model): Uint8Array {
  const { parent, choice, dependencies } = rules.nodes;
  const dependent = new Uint8Array(parent.length);
  for (let id = 0; id < parent.length; id += 1) {
    const above = parent[id] ?? -1;
    const inherits =
      above >= 0 && (dependent[above] === 1 || (dialect.choiceHasValue && choice[above] !== -1));
    if (inherits || startOf(dependencies, id) !== dependencies[id]) dependent[id] = 1;
  }
  return dependent;
}

function markConstants(state: EvalState): void {
  for (const value of [0, 1, 2]) {
    state.tri[value] = value;
    state.valid[value] = 1;
  }
}

/** Forgets what was worked out, but not what the configuration asks for; that there are modules stays known. */
export function forgetValues(state: EvalState): void {
  state.valid.fill(0);
  state.choiceValid.fill(0);
  state.unmet.clear();
  markConstants(state);
  forgetConditions(state);
}

/** Forgets the conditions of entries alone: they are seen again with the values as they are now. */
export function forgetConditions(state: EvalState): void {
  state.nodeValue.fill(pending);
  state.nodeVisible.fill(pending);
}

/** A number that is known to be one. */
export function asTristate(value: number | undefined): Tristate {
  return value === 2 ? 2 : value === 1 ? 1 : 0;
}
