/**
 * Works out values, as sym_calc_value and expr_calc_value of the kernel's program do (symbol.c, expr.c), in both
 * generations of choices.
 */
import { plainChoiceOf, tristateAt, unknown, type EvalState } from './eval-state.ts';
import type {
  Choice,
  ConfigSymbol,
  Default,
  Expr,
  MenuNode,
  Property,
  Range,
  Selection,
  Tristate,
} from './model.ts';
import { asUnsigned, comparedNumber, leadingNumber } from './numbers.ts';

function lower(one: Tristate, other: Tristate): Tristate {
  return one < other ? one : other;
}

function higher(one: Tristate, other: Tristate): Tristate {
  return one > other ? one : other;
}

// Loops go by index here: most of this runs once per configuration, before it is compiled, where they are cheapest.

/** The value of a condition; y for none. */
export function calculate(state: EvalState, expr: Expr | undefined): Tristate {
  if (!expr) return 2;
  switch (expr.kind) {
    case 'symbol':
      return tristateOf(state, expr.symbol);
    case 'modular': {
      const { modules } = state.model;
      return modules ? lower(1, tristateOf(state, modules)) : 0;
    }
    case 'not': {
      const value = calculate(state, expr.operand);
      return value === 0 ? 2 : value === 1 ? 1 : 0;
    }
    case 'and': {
      const { operands } = expr;
      let value: Tristate = 2;
      for (let index = 0; index < operands.length && value !== 0; index += 1) {
        value = lower(value, calculate(state, operands[index]));
      }
      return value;
    }
    case 'or': {
      const { operands } = expr;
      let value: Tristate = 0;
      for (let index = 0; index < operands.length && value !== 2; index += 1) {
        value = higher(value, calculate(state, operands[index]));
      }
      return value;
    }
    case 'compare':
      return compare(state, expr.left, expr.operator, expr.right) ? 2 : 0;
  }
}

const tristateNames = ['n', 'm', 'y'] as const;

/** The value as text. */
export function textOf(state: EvalState, symbol: ConfigSymbol): string {
  ensureValue(state, symbol);
  if (symbol.type === 'bool' || symbol.type === 'tristate')
    return tristateNames[tristateAt(state.tri, symbol.id)];
  return state.text[symbol.id] ?? '';
}

function compare(state: EvalState, left: ConfigSymbol, operator: string, right: ConfigSymbol): boolean {
  const difference = differenceOf(state, left, right);
  switch (operator) {
    case '=':
      return difference === 0;
    case '!=':
      return difference !== 0;
    case '<':
      return difference < 0;
    case '<=':
      return difference <= 0;
    case '>':
      return difference > 0;
    default:
      return difference >= 0;
  }
}

function differenceOf(state: EvalState, left: ConfigSymbol, right: ConfigSymbol): number {
  const one = textOf(state, left);
  const other = textOf(state, right);
  if (left.type !== 'string' || right.type !== 'string') {
    const first = numberOf(one, left);
    const second = first === undefined ? undefined : numberOf(other, right);
    if (first !== undefined && second !== undefined) {
      const unsigned = left.type === 'hex' || right.type === 'hex';
      const [low, high] = unsigned ? [asUnsigned(first), asUnsigned(second)] : [first, second];
      return low < high ? -1 : low > high ? 1 : 0;
    }
  }
  return one < other ? -1 : one > other ? 1 : 0;
}

function numberOf(text: string, { type }: ConfigSymbol): bigint | undefined {
  if (type !== 'bool' && type !== 'tristate') return comparedNumber(text, type);
  return BigInt(tristateNames.findIndex((name) => name === text));
}

export function tristateOf(state: EvalState, symbol: ConfigSymbol): Tristate {
  if (state.valid[symbol.id] === 0) ensureValue(state, symbol);
  return tristateAt(state.tri, symbol.id);
}

/** What all dependencies of an entry come to, those around it included. */
export function nodeDependency(state: EvalState, node: MenuNode): Tristate {
  const known = state.nodeValue[node.id];
  if (known !== unknown && known !== undefined) return tristateAt(state.nodeValue, node.id);
  const { parent, symbol } = node;
  const { dialect } = state.model;
  let value: Tristate = 2;
  if (parent) {
    value =
      parent.choice && dialect.choiceHasValue ? modeOf(state, parent.choice) : nodeDependency(state, parent);
  }
  // Most entries stand in a menu that is n, and of these no more is asked.
  if (value !== 0) {
    const { dependencies } = node;
    for (let index = 0; index < dependencies.length && value !== 0; index += 1) {
      value = lower(value, calculate(state, dependencies[index]?.expr));
    }
  }
  const choice = dialect.choiceHasValue ? symbol?.choice : undefined;
  // Of a choice that is m, only members that can be m can be set.
  if (choice?.type === 'tristate' && symbol?.type !== 'tristate' && isWithin(node, choice)) {
    if (modeOf(state, choice) !== 2) value = 0;
  }
  state.nodeValue[node.id] = value;
  return value;
}

function isWithin(node: MenuNode, choice: Choice): boolean {
  let block = node.parent;
  while (block?.kind === 'if') block = block.parent;
  return block?.choice === choice;
}

/** What `visible if` of all menus around an entry comes to. */
function blockVisibility(state: EvalState, node: MenuNode): Tristate {
  const known = state.nodeVisible[node.id];
  if (known !== unknown && known !== undefined) return tristateAt(state.nodeVisible, node.id);
  const { parent } = node;
  let value: Tristate = 2;
  if (parent) {
    value = blockVisibility(state, parent);
    for (const expr of parent.visibleIf) value = lower(value, calculate(state, expr));
  }
  state.nodeVisible[node.id] = value;
  return value;
}

/** Whether an attribute counts; for a prompt, `promptCondition`. */
export function conditionOf(state: EvalState, { node, condition }: Property): Tristate {
  const value = nodeDependency(state, node);
  return value === 0 || !condition ? value : lower(value, calculate(state, condition));
}

export function promptCondition(state: EvalState, prompt: Property): Tristate {
  const value = conditionOf(state, prompt);
  return value === 0 ? 0 : lower(value, blockVisibility(state, prompt.node));
}

export function activeDefault(state: EvalState, { defaults }: ConfigSymbol): Default | undefined {
  for (let index = 0; index < defaults.length; index += 1) {
    const one = defaults[index];
    if (one && conditionOf(state, one) !== 0) return one;
  }
  return undefined;
}

export function activeRange(state: EvalState, symbol: ConfigSymbol): Range | undefined {
  return symbol.ranges.find((one) => conditionOf(state, one) !== 0);
}

/** A tristate without modules is a bool, and so is a member of a choice that can be y. */
function isBool(state: EvalState, { id, type, choice }: ConfigSymbol): boolean {
  if (type !== 'tristate') return type === 'bool';
  if (state.modules === 0) return true;
  return choice !== undefined && state.model.dialect.choiceHasValue && state.visible[id] === 2;
}

function selections(state: EvalState, list: readonly Selection[]): Tristate {
  let value: Tristate = 0;
  for (let index = 0; index < list.length; index += 1) {
    const selection = list[index];
    const selector = selection ? tristateOf(state, selection.selector) : 0;
    if (!selection || selector <= value) continue;
    value = higher(value, lower(selector, conditionOf(state, selection)));
    if (value === 2) break;
  }
  return value;
}

/** The highest of its definitions' dependencies, not counting those without any; y when none has one. */
function directDependency(state: EvalState, symbol: ConfigSymbol): Tristate {
  const { nodes } = state.model;
  let value: Tristate | undefined;
  for (let id = state.firstEntry[symbol.id] ?? -1; id >= 0; id = state.nextEntry[id] ?? -1) {
    const node = nodes[id];
    if (node && state.dependent[id] === 1) value = higher(value ?? 0, nodeDependency(state, node));
  }
  return value ?? 2;
}

/** Visibility, dependencies, selects and implies. */
export function calculateVisibility(state: EvalState, symbol: ConfigSymbol): void {
  const { id, type, choice } = symbol;
  if (symbol.transitional) {
    state.visible[id] = 2;
    return;
  }
  let visible: Tristate = 0;
  const { prompts } = symbol;
  for (let index = 0; index < prompts.length; index += 1) {
    const prompt = prompts[index];
    let condition = prompt ? promptCondition(state, prompt) : 0;
    // Of a choice that is y, a member that can be no more than m is hidden.
    if (condition === 1 && type === 'tristate' && choice && state.mode[choice.id] === 2) {
      if (state.model.dialect.choiceHasValue) condition = 0;
    }
    visible = higher(visible, condition);
  }
  if (visible === 1 && (type !== 'tristate' || state.modules === 0)) visible = 2;
  state.visible[id] = visible;
  if (choice) return;
  const dependencies = directDependency(state, symbol);
  const selected = selections(state, symbol.selectedBy);
  const implied = selections(state, symbol.impliedBy);
  const bool = isBool(state, symbol);
  state.dependencies[id] = bool && dependencies === 1 ? 2 : dependencies;
  state.selected[id] = bool && selected === 1 ? 2 : selected;
  state.implied[id] = bool && implied === 1 ? 2 : implied;
}

/** Works out the value of a symbol, if that has not been done. */
export function ensureValue(state: EvalState, symbol: ConfigSymbol): void {
  const { id, type } = symbol;
  if (state.valid[id] === 1) return;
  const choice = plainChoiceOf(state, symbol);
  if (choice) {
    ensureChosen(state, choice);
    return;
  }
  state.valid[id] = 1;
  if (type === 'unknown') return;
  calculateVisibility(state, symbol);
  const visible = state.visible[id] !== 0;
  state.written[id] = visible ? 1 : 0;
  // What is seen of it while it is worked out, should it rest on itself.
  state.tri[id] = 0;
  state.text[id] = emptyText(state, symbol);
  if (type === 'bool' || type === 'tristate') calculateTristate(state, symbol);
  else calculateText(state, symbol);
  if (type === 'int' || type === 'hex') keepInRange(state, symbol);
  if (state.model.modules === symbol) state.modules = tristateAt(state.tri, id);
  if (symbol.transitional || state.model.defconfigList === symbol) state.written[id] = 0;
}

function emptyText(state: EvalState, { type }: ConfigSymbol): string {
  if (type === 'bool' || type === 'tristate') return 'n';
  if (!state.model.dialect.emptyNumberIsZero || type === 'string') return '';
  return type === 'hex' ? '0x0' : '0';
}

function calculateTristate(state: EvalState, symbol: ConfigSymbol): void {
  const { id, choice } = symbol;
  if (choice && state.visible[id] === 2) {
    state.tri[id] = state.chosen[choice.id] === symbol && state.mode[choice.id] === 2 ? 2 : 0;
    return;
  }
  let value: Tristate = 0;
  let active: Default | undefined;
  if (state.visible[id] !== 0 && state.hasUser[id] === 1) {
    value = lower(tristateAt(state.userTri, id), tristateAt(state.visible, id));
  } else {
    if (state.selected[id] !== 0) state.written[id] = 1;
    active = activeDefault(state, symbol);
    if (active) {
      value = lower(calculate(state, active.value), conditionOf(state, active));
      if (value !== 0) state.written[id] = 1;
    }
    const implied = tristateAt(state.implied, id);
    if (implied !== 0) {
      state.written[id] = 1;
      value = lower(higher(value, implied), tristateAt(state.dependencies, id));
    }
  }
  const selected = tristateAt(state.selected, id);
  if (tristateAt(state.dependencies, id) < selected) state.unmet.add(symbol);
  value = higher(value, selected);
  if (value === 1 && isBool(state, symbol)) value = 2;
  if (inherits(state, symbol, active)) {
    state.userTri[id] = value;
    state.hasUser[id] = 1;
  }
  state.tri[id] = value;
}

/** A value that comes from a transitional symbol is as good as set by hand from then on. */
function inherits(state: EvalState, symbol: ConfigSymbol, active: Default | undefined): boolean {
  if (active?.value.kind !== 'symbol' || state.hasUser[symbol.id] === 1) return false;
  const from = active.value.symbol;
  return from.transitional && state.hasUser[from.id] === 1;
}

function calculateText(state: EvalState, symbol: ConfigSymbol): void {
  const { id } = symbol;
  if (state.visible[id] !== 0 && state.hasUser[id] === 1) {
    state.text[id] = state.userText[id] ?? '';
    return;
  }
  const active = activeDefault(state, symbol);
  if (active?.value.kind !== 'symbol') return;
  const from = active.value.symbol;
  state.written[id] = 1;
  ensureValue(state, from);
  const text = state.text[from.id] ?? '';
  if (inherits(state, symbol, active)) {
    state.userText[id] = text;
    state.hasUser[id] = 1;
  }
  state.text[id] = text;
}

function boundOf(state: EvalState, bound: ConfigSymbol, base: 10 | 16): bigint {
  ensureValue(state, bound);
  const own = bound.type === 'int' ? 10 : bound.type === 'hex' ? 16 : base;
  return leadingNumber(state.text[bound.id] ?? '', own);
}

/** A value below or above the range becomes the bound, as it is written there. */
function keepInRange(state: EvalState, symbol: ConfigSymbol): void {
  const range = activeRange(state, symbol);
  if (!range) return;
  const base = symbol.type === 'hex' ? 16 : 10;
  const value = leadingNumber(state.text[symbol.id] ?? '', base);
  let bound = range.low;
  if (value >= boundOf(state, bound, base)) {
    bound = range.high;
    if (value <= boundOf(state, bound, base)) return;
  }
  state.text[symbol.id] = state.text[bound.id] ?? '';
}

/** Whether a text is a value that the symbol may have where it stands (sym_string_within_range). */
export function isInRange(state: EvalState, symbol: ConfigSymbol, text: string): boolean {
  const range = activeRange(state, symbol);
  if (!range) return true;
  const base = symbol.type === 'hex' ? 16 : 10;
  const value = leadingNumber(text, base);
  return value >= boundOf(state, range.low, base) && value <= boundOf(state, range.high, base);
}

/** Older trees: the value of a choice, and the member that it makes y. */
export function modeOf(state: EvalState, choice: Choice): Tristate {
  const { id, type } = choice;
  if (state.choiceValid[id] === 1) return tristateAt(state.mode, id);
  if (!state.model.dialect.choiceHasValue) {
    ensureChosen(state, choice);
    return tristateAt(state.mode, id);
  }
  state.choiceValid[id] = 1;
  state.chosen[id] = undefined;
  state.mode[id] = 0;
  if (type !== 'bool' && type !== 'tristate') return 0;
  let prompted: Tristate = 0;
  let shown: Tristate = 0;
  for (const prompt of choice.prompts) {
    const condition = promptCondition(state, prompt);
    prompted = higher(prompted, condition);
    if (prompt.node.prompt === prompt) shown = higher(shown, condition);
  }
  const bool = type === 'bool' || state.modules === 0;
  const visible = bool && prompted === 1 ? 2 : prompted;
  let mode: Tristate = 0;
  if (visible !== 0 && state.choiceHasUser[id] === 1)
    mode = lower(tristateAt(state.choiceUserTri, id), visible);
  // As if it were selected to m wherever it is seen, unless nothing needs to be chosen.
  if (!choice.optional && shown !== 0) mode = higher(mode, 1);
  if (mode === 1 && bool) mode = 2;
  state.mode[id] = mode;
  if (mode === 2) chooseMember(state, choice);
  return tristateAt(state.mode, id);
}

function chooseMember(state: EvalState, choice: Choice): void {
  const { id, members } = choice;
  for (const member of members) {
    calculateVisibility(state, member);
    // A member that nobody spoke of makes the whole choice one that is still to be decided.
    if (state.visible[member.id] !== 0 && state.hasUser[member.id] === 0) state.choiceHasUser[id] = 0;
  }
  const user = state.choiceUser[id];
  const chosen = user && state.visible[user.id] !== 0 ? user : choiceDefault(state, choice);
  state.chosen[id] = chosen;
  if (chosen) return;
  state.mode[id] = 0;
  for (const member of members) for (const node of member.nodes) state.nodeValue[node.id] = unknown;
}

/** The first default that can be seen, else the first member that can. */
export function choiceDefault(state: EvalState, choice: Choice): ConfigSymbol | undefined {
  const isSeen = ({ id }: ConfigSymbol): boolean => state.visible[id] !== 0;
  const preferred = choice.defaults.find((one) => conditionOf(state, one) !== 0 && isSeen(one.member));
  return preferred?.member ?? choice.members.find(isSeen);
}

/** Newer trees: exactly one of the members that can be seen is y (sym_calc_choice). */
function ensureChosen(state: EvalState, choice: Choice): void {
  const { id, members } = choice;
  if (state.choiceValid[id] === 1) return;
  state.choiceValid[id] = 1;
  for (const member of members) {
    state.valid[member.id] = 1;
    state.written[member.id] = 0;
    state.tri[member.id] = 0;
    state.text[member.id] = 'n';
  }
  for (const member of members) calculateVisibility(state, member);
  const seen = members.filter((member) => state.visible[member.id] !== 0);
  const chosen = preferredMember(state, choice, seen);
  state.chosen[id] = chosen;
  state.mode[id] = chosen ? 2 : 0;
  for (const member of seen) {
    state.tri[member.id] = member === chosen ? 2 : 0;
    state.written[member.id] = 1;
  }
}

function preferredMember(
  state: EvalState,
  choice: Choice,
  seen: readonly ConfigSymbol[],
): ConfigSymbol | undefined {
  const priority = (state.priority[choice.id] ?? []).filter((member) => state.visible[member.id] !== 0);
  const isAsked = ({ id }: ConfigSymbol, value: Tristate): boolean =>
    state.hasUser[id] === 1 && state.userTri[id] === value;
  const asked = priority.find((member) => isAsked(member, 2));
  if (asked) return asked;
  const preferred = choiceDefault(state, choice);
  if (preferred && !isAsked(preferred, 0)) return preferred;
  return seen.find((member) => state.hasUser[member.id] === 0) ?? priority.at(-1);
}
