import type { Choice, ConfigSymbol, Model, Tristate } from './model.ts';

/**
 * The values of a model while they are worked out, by index of symbol, choice or entry. It follows what the kernel's
 * program keeps in its symbols, since some of its results rest on what it has worked out before.
 */
export interface EvalState {
  readonly model: Model;
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
  /** By symbol its first entry, and by entry the next one of the same symbol; -1 for none. */
  readonly firstEntry: Int32Array;
  readonly nextEntry: Int32Array;
  /** By entry: whether there is a dependency at all, what they come to, and what `visible if` around it comes to. */
  readonly dependent: Uint8Array;
  readonly nodeValue: Uint8Array;
  readonly nodeVisible: Uint8Array;
  /** By choice. */
  readonly choiceValid: Uint8Array;
  readonly mode: Uint8Array;
  readonly chosen: (ConfigSymbol | undefined)[];
  /** Older trees: what the configuration asks of the choice itself. */
  readonly choiceHasUser: Uint8Array;
  readonly choiceUserTri: Uint8Array;
  readonly choiceUser: (ConfigSymbol | undefined)[];
  /** Newer trees: members in the order in which the configuration prefers them, the last mentioned first. */
  readonly priority: ConfigSymbol[][];
  readonly unmet: Set<ConfigSymbol>;
  /** The value of the modules symbol, n until it is known. */
  modules: Tristate;
}

/** No tristate: not worked out yet. */
export const unknown = 3;

export function createEvalState(model: Model): EvalState {
  const { symbols, nodes, choices, dialect } = model;
  const bytes = (length: number): Uint8Array => new Uint8Array(length);
  const dependent = bytes(nodes.length);
  for (let id = 0; id < nodes.length; id += 1) {
    const node = nodes[id];
    if (!node) continue;
    const { parent } = node;
    const inherits = parent !== undefined && dependent[parent.id] === 1;
    const hasChoice = parent?.choice !== undefined && dialect.choiceHasValue;
    if (inherits || hasChoice || node.dependencies.length > 0) dependent[id] = 1;
  }
  const firstEntry = new Int32Array(symbols.length).fill(-1);
  const nextEntry = new Int32Array(nodes.length);
  for (let id = nodes.length - 1; id >= 0; id -= 1) {
    const symbol = nodes[id]?.symbol;
    if (!symbol) continue;
    nextEntry[id] = firstEntry[symbol.id] ?? -1;
    firstEntry[symbol.id] = id;
  }
  const state: EvalState = {
    model,
    tri: bytes(symbols.length),
    text: symbols.map((symbol) => (symbol.type === 'unknown' ? symbol.name : '')),
    visible: bytes(symbols.length),
    dependencies: bytes(symbols.length),
    selected: bytes(symbols.length),
    implied: bytes(symbols.length),
    valid: bytes(symbols.length),
    written: bytes(symbols.length),
    hasUser: bytes(symbols.length),
    userTri: bytes(symbols.length),
    userText: [],
    firstEntry,
    nextEntry,
    dependent,
    nodeValue: bytes(nodes.length).fill(unknown),
    nodeVisible: bytes(nodes.length).fill(unknown),
    choiceValid: bytes(choices.length),
    mode: bytes(choices.length),
    chosen: choices.map(() => undefined),
    choiceHasUser: bytes(choices.length),
    choiceUserTri: bytes(choices.length),
    choiceUser: choices.map(() => undefined),
    priority: choices.map(({ members }) => [...members]),
    unmet: new Set(),
    modules: 0,
  };
  markConstants(state);
  return state;
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
  state.nodeValue.fill(unknown);
  state.nodeVisible.fill(unknown);
}

/** A tristate out of an array of them. */
export function tristateAt(values: Uint8Array, index: number): Tristate {
  const value = values[index];
  return value === 2 ? 2 : value === 1 ? 1 : 0;
}

/** For the choice that a symbol belongs to, where a choice has no value of its own. */
export function plainChoiceOf(state: EvalState, symbol: ConfigSymbol): Choice | undefined {
  return state.model.dialect.choiceHasValue ? undefined : symbol.choice;
}
