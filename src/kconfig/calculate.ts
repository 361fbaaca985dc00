/**
 * Works out values, as sym_calc_value and expr_calc_value of the kernel's program do (symbol.c, expr.c), in both
 * generations of choices. Symbols, choices, entries and conditions are rows of the rules; values are n, m, y as 0, 1, 2.
 *
 * Loops go by index: most of this runs once per configuration, before it is compiled, where they are cheapest.
 */
import { pending, type EvalState } from './eval-state.ts';
import type { Expr } from './model.ts';
import { asUnsigned, comparedNumber, leadingNumber } from './numbers.ts';
import {
  kindCodes,
  membersOf,
  operatorCodes,
  operators,
  optional,
  startOf,
  transitional,
  typeCodes,
  types,
  type Column,
  type PropertyColumns,
} from './rules.ts';

const { bool, tristate, int, hex, string } = typeCodes;

function lower(one: number, other: number): number {
  return one < other ? one : other;
}

function higher(one: number, other: number): number {
  return one > other ? one : other;
}

/** The value of a condition. */
export function calculate(state: EvalState, row: number): number {
  const { exprs, operands } = state.rules;
  const operator = exprs.operator[row] ?? 0;
  const start = startOf(exprs.operands, row);
  const end = exprs.operands[row] ?? 0;
  const first = operands.row[start] ?? 0;
  switch (operator) {
    case operatorCodes.symbol:
      return tristateOf(state, first);
    case operatorCodes.modular:
      return literalM(state);
    case operatorCodes.not:
      return 2 - calculate(state, first);
    case operatorCodes.and: {
      let value = 2;
      for (let at = start; at < end && value !== 0; at += 1) {
        value = lower(value, calculate(state, operands.row[at] ?? 0));
      }
      return value;
    }
    case operatorCodes.or: {
      let value = 0;
      for (let at = start; at < end && value !== 2; at += 1) {
        value = higher(value, calculate(state, operands.row[at] ?? 0));
      }
      return value;
    }
    default:
      return compare(state, first, operators[operator] ?? '=', operands.row[start + 1] ?? 0) ? 2 : 0;
  }
}

/** The same for a condition as a record, of which there may be no row; y for none. */
export function calculateRecord(state: EvalState, expr: Expr | undefined): number {
  if (!expr) return 2;
  switch (expr.kind) {
    case 'symbol':
      return tristateOf(state, expr.symbol.id);
    case 'modular':
      return literalM(state);
    case 'not':
      return 2 - calculateRecord(state, expr.operand);
    case 'and':
      return expr.operands.reduce(
        (value, one) => (value === 0 ? 0 : lower(value, calculateRecord(state, one))),
        2,
      );
    case 'or':
      return expr.operands.reduce(
        (value, one) => (value === 2 ? 2 : higher(value, calculateRecord(state, one))),
        0,
      );
    case 'compare':
      return compare(state, expr.left.id, expr.operator, expr.right.id) ? 2 : 0;
  }
}

/** A literal `m` as a condition by itself. */
function literalM(state: EvalState): number {
  const { modulesSymbol } = state;
  return modulesSymbol < 0 ? 0 : lower(1, tristateOf(state, modulesSymbol));
}

const tristateNames = ['n', 'm', 'y'] as const;

/** The value as text. */
export function textOf(state: EvalState, symbol: number): string {
  ensureValue(state, symbol);
  const type = state.rules.symbols.type[symbol];
  if (type === bool || type === tristate) return tristateNames[state.tri[symbol] ?? 0] ?? 'n';
  return state.text[symbol] ?? '';
}

function compare(state: EvalState, left: number, operator: string, right: number): boolean {
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

function differenceOf(state: EvalState, left: number, right: number): number {
  const one = textOf(state, left);
  const other = textOf(state, right);
  const { type } = state.rules.symbols;
  const leftType = type[left] ?? 0;
  const rightType = type[right] ?? 0;
  if (leftType !== string || rightType !== string) {
    const first = numberOf(one, leftType);
    const second = first === undefined ? undefined : numberOf(other, rightType);
    if (first !== undefined && second !== undefined) {
      const unsigned = leftType === hex || rightType === hex;
      const [low, high] = unsigned ? [asUnsigned(first), asUnsigned(second)] : [first, second];
      return low < high ? -1 : low > high ? 1 : 0;
    }
  }
  return one < other ? -1 : one > other ? 1 : 0;
}

function numberOf(text: string, type: number): bigint | undefined {
  if (type !== bool && type !== tristate) return comparedNumber(text, types[type] ?? 'unknown');
  return BigInt(tristateNames.findIndex((name) => name === text));
}

/** Of a bool or tristate; n for every other symbol. */
export function tristateOf(state: EvalState, symbol: number): number {
  if (state.valid[symbol] === 0) ensureValue(state, symbol);
  return state.tri[symbol] ?? 0;
}

/** What all dependencies of an entry come to, those around it included. */
export function nodeDependency(state: EvalState, node: number): number {
  const known = state.nodeValue[node] ?? pending;
  if (known !== pending) return known;
  const { rules, model } = state;
  const { nodes, dependencies } = rules;
  const { choiceHasValue } = model.dialect;
  const parent = nodes.parent[node] ?? -1;
  let value = 2;
  if (parent >= 0) {
    const around = choiceHasValue ? (nodes.choice[parent] ?? -1) : -1;
    value = around >= 0 ? modeOf(state, around) : nodeDependency(state, parent);
  }
  // Most entries stand in a menu that is n, and of these no more is asked.
  if (value !== 0) {
    const end = nodes.dependencies[node] ?? 0;
    for (let row = startOf(nodes.dependencies, node); row < end && value !== 0; row += 1) {
      value = lower(value, calculate(state, dependencies.expr[row] ?? 0));
    }
  }
  if (choiceHasValue && isKeptFromM(state, node)) value = 0;
  state.nodeValue[node] = value;
  return value;
}

/** Older trees: of a choice that is m, only members that can be m can be set. */
function isKeptFromM(state: EvalState, node: number): boolean {
  const { nodes, symbols, choices } = state.rules;
  const symbol = nodes.symbol[node] ?? -1;
  const choice = symbol < 0 ? -1 : (symbols.choice[symbol] ?? -1);
  if (choice < 0 || choices.type[choice] !== tristate || symbols.type[symbol] === tristate) return false;
  let block = nodes.parent[node] ?? -1;
  while (block >= 0 && nodes.kind[block] === kindCodes.if) block = nodes.parent[block] ?? -1;
  return block >= 0 && nodes.choice[block] === choice && modeOf(state, choice) !== 2;
}

/** What `visible if` of all menus around an entry comes to. */
function blockVisibility(state: EvalState, node: number): number {
  const known = state.nodeVisible[node] ?? pending;
  if (known !== pending) return known;
  const { nodes, visibleIf } = state.rules;
  const parent = nodes.parent[node] ?? -1;
  let value = 2;
  if (parent >= 0) {
    value = blockVisibility(state, parent);
    const end = nodes.visibleIf[parent] ?? 0;
    for (let row = startOf(nodes.visibleIf, parent); row < end; row += 1) {
      value = lower(value, calculate(state, visibleIf.expr[row] ?? 0));
    }
  }
  state.nodeVisible[node] = value;
  return value;
}

/** Whether a line counts; for a prompt, `promptCondition`. */
export function conditionOf(state: EvalState, lines: PropertyColumns, row: number): number {
  const value = nodeDependency(state, lines.node[row] ?? 0);
  const condition = lines.condition[row] ?? -1;
  return value === 0 || condition < 0 ? value : lower(value, calculate(state, condition));
}

function promptCondition(state: EvalState, lines: PropertyColumns, row: number): number {
  const value = conditionOf(state, lines, row);
  return value === 0 ? 0 : lower(value, blockVisibility(state, lines.node[row] ?? 0));
}

/** The same for a line as a record, of which it need not be known in which list it stands. */
export function recordCondition(
  state: EvalState,
  { node, condition }: { readonly node: { readonly id: number }; readonly condition: Expr | undefined },
  isPrompt: boolean,
): number {
  const value = nodeDependency(state, node.id);
  const whole = value === 0 ? 0 : lower(value, calculateRecord(state, condition));
  return whole === 0 || !isPrompt ? whole : lower(whole, blockVisibility(state, node.id));
}

/** The row of the first default that counts, or -1. */
export function activeDefault(state: EvalState, symbol: number): number {
  const { symbols, defaults } = state.rules;
  return activeLine(state, symbols.defaults, symbol, defaults);
}

/** The row of the first range that counts, or -1. */
export function activeRange(state: EvalState, symbol: number): number {
  const { symbols, ranges } = state.rules;
  return activeLine(state, symbols.ranges, symbol, ranges);
}

function activeLine(state: EvalState, ends: Column, owner: number, lines: PropertyColumns): number {
  const end = ends[owner] ?? 0;
  for (let row = startOf(ends, owner); row < end; row += 1)
    if (conditionOf(state, lines, row) !== 0) return row;
  return -1;
}

/** A tristate without modules is a bool, and so is a member of a choice that can be y. */
function isBool(state: EvalState, symbol: number): boolean {
  const { type, choice } = state.rules.symbols;
  if (type[symbol] !== tristate) return type[symbol] === bool;
  if (state.modules === 0) return true;
  return choice[symbol] !== -1 && state.model.dialect.choiceHasValue && state.visible[symbol] === 2;
}

/** The highest value to which a symbol is selected or implied. */
function selections(state: EvalState, ends: Column, symbol: number, lines: PropertyColumns): number {
  const { nodes } = state.rules;
  const end = ends[symbol] ?? 0;
  let value = 0;
  for (let row = startOf(ends, symbol); row < end && value !== 2; row += 1) {
    const selector = tristateOf(state, nodes.symbol[lines.node[row] ?? 0] ?? 0);
    if (selector > value) value = higher(value, lower(selector, conditionOf(state, lines, row)));
  }
  return value;
}

/** The highest of its definitions' dependencies, not counting those without any; y when none has one. */
function directDependency(state: EvalState, symbol: number): number {
  const { symbols, symbolNodes } = state.rules;
  const end = symbols.nodes[symbol] ?? 0;
  let value = -1;
  for (let row = startOf(symbols.nodes, symbol); row < end; row += 1) {
    const node = symbolNodes.node[row] ?? 0;
    if (state.dependent[node] === 1) value = higher(value, nodeDependency(state, node));
  }
  return value < 0 ? 2 : value;
}

/** Visibility, dependencies, selects and implies. */
function calculateVisibility(state: EvalState, symbol: number): void {
  const { symbols, prompts, selects, implies } = state.rules;
  if (((symbols.flags[symbol] ?? 0) & transitional) !== 0) {
    state.visible[symbol] = 2;
    return;
  }
  const { choiceHasValue } = state.model.dialect;
  const type = symbols.type[symbol];
  const choice = symbols.choice[symbol] ?? -1;
  const end = symbols.prompts[symbol] ?? 0;
  let visible = 0;
  for (let row = startOf(symbols.prompts, symbol); row < end; row += 1) {
    const condition = promptCondition(state, prompts, row);
    // Of a choice that is y, a member that can be no more than m is hidden.
    const isHidden =
      condition === 1 && choiceHasValue && type === tristate && choice >= 0 && state.mode[choice] === 2;
    if (!isHidden) visible = higher(visible, condition);
  }
  if (visible === 1 && (type !== tristate || state.modules === 0)) visible = 2;
  state.visible[symbol] = visible;
  if (choice >= 0) return;
  const dependencies = directDependency(state, symbol);
  const selected = selections(state, symbols.selectedBy, symbol, selects);
  const implied = selections(state, symbols.impliedBy, symbol, implies);
  const isRaised = isBool(state, symbol);
  state.dependencies[symbol] = isRaised && dependencies === 1 ? 2 : dependencies;
  state.selected[symbol] = isRaised && selected === 1 ? 2 : selected;
  state.implied[symbol] = isRaised && implied === 1 ? 2 : implied;
}

/** Works out the value of a symbol, if that has not been done. */
export function ensureValue(state: EvalState, symbol: number): void {
  if (state.valid[symbol] === 1) return;
  const { symbols } = state.rules;
  const { choiceHasValue } = state.model.dialect;
  const choice = symbols.choice[symbol] ?? -1;
  if (choice >= 0 && !choiceHasValue) {
    ensureChosen(state, choice);
    return;
  }
  state.valid[symbol] = 1;
  const type = symbols.type[symbol] ?? 0;
  if (type === typeCodes.unknown) return;
  calculateVisibility(state, symbol);
  state.written[symbol] = state.visible[symbol] === 0 ? 0 : 1;
  // What is seen of it while it is worked out, should it rest on itself.
  state.tri[symbol] = 0;
  state.text[symbol] = emptyText(state, type);
  if (type === bool || type === tristate) calculateTristate(state, symbol);
  else calculateText(state, symbol);
  if (type === int || type === hex) keepInRange(state, symbol);
  if (state.modulesSymbol === symbol) state.modules = state.tri[symbol] ?? 0;
  const isNeverWritten =
    ((symbols.flags[symbol] ?? 0) & transitional) !== 0 || state.model.defconfigList?.id === symbol;
  if (isNeverWritten) state.written[symbol] = 0;
}

function emptyText(state: EvalState, type: number): string {
  if (type === bool || type === tristate) return 'n';
  if (!state.model.dialect.emptyNumberIsZero || type === string) return '';
  return type === hex ? '0x0' : '0';
}

function calculateTristate(state: EvalState, symbol: number): void {
  const choice = state.rules.symbols.choice[symbol] ?? -1;
  const visible = state.visible[symbol] ?? 0;
  if (choice >= 0 && visible === 2) {
    state.tri[symbol] = state.chosen[choice] === symbol && state.mode[choice] === 2 ? 2 : 0;
    return;
  }
  const dependencies = state.dependencies[symbol] ?? 0;
  const selected = state.selected[symbol] ?? 0;
  let value = 0;
  let active = -1;
  if (visible !== 0 && state.hasUser[symbol] === 1) {
    value = lower(state.userTri[symbol] ?? 0, visible);
  } else {
    if (selected !== 0) state.written[symbol] = 1;
    active = activeDefault(state, symbol);
    if (active >= 0) {
      value = defaultValue(state, active);
      if (value !== 0) state.written[symbol] = 1;
    }
    const implied = state.implied[symbol] ?? 0;
    if (implied !== 0) {
      state.written[symbol] = 1;
      value = lower(higher(value, implied), dependencies);
    }
  }
  if (dependencies < selected) state.unmet.add(symbol);
  value = higher(value, selected);
  if (value === 1 && isBool(state, symbol)) value = 2;
  if (inherits(state, symbol, active)) {
    state.userTri[symbol] = value;
    state.hasUser[symbol] = 1;
  }
  state.tri[symbol] = value;
}

/** What a default makes of a bool or tristate. */
export function defaultValue(state: EvalState, row: number): number {
  const { defaults } = state.rules;
  return lower(calculate(state, defaults.value[row] ?? 0), conditionOf(state, defaults, row));
}

/** The symbol whose value a default is, or -1: it may be none, or a condition. */
export function defaultSymbol({ rules }: EvalState, row: number): number {
  const { defaults, exprs, operands } = rules;
  const value = row < 0 ? -1 : (defaults.value[row] ?? -1);
  if (value < 0 || exprs.operator[value] !== operatorCodes.symbol) return -1;
  return operands.row[startOf(exprs.operands, value)] ?? -1;
}

/** A value that comes from a transitional symbol is as good as set by hand from then on. */
function inherits(state: EvalState, symbol: number, active: number): boolean {
  const from = defaultSymbol(state, active);
  if (from < 0 || state.hasUser[symbol] === 1) return false;
  return ((state.rules.symbols.flags[from] ?? 0) & transitional) !== 0 && state.hasUser[from] === 1;
}

function calculateText(state: EvalState, symbol: number): void {
  if (state.visible[symbol] !== 0 && state.hasUser[symbol] === 1) {
    state.text[symbol] = state.userText[symbol] ?? '';
    return;
  }
  const active = activeDefault(state, symbol);
  const from = defaultSymbol(state, active);
  if (from < 0) return;
  state.written[symbol] = 1;
  ensureValue(state, from);
  const text = state.text[from] ?? '';
  if (inherits(state, symbol, active)) {
    state.userText[symbol] = text;
    state.hasUser[symbol] = 1;
  }
  state.text[symbol] = text;
}

function boundOf(state: EvalState, bound: number, base: 10 | 16): bigint {
  ensureValue(state, bound);
  const type = state.rules.symbols.type[bound];
  const own = type === int ? 10 : type === hex ? 16 : base;
  return leadingNumber(state.text[bound] ?? '', own);
}

/** A value below or above the range becomes the bound, as it is written there. */
function keepInRange(state: EvalState, symbol: number): void {
  const { symbols, ranges } = state.rules;
  const range = activeRange(state, symbol);
  if (range < 0) return;
  const base = symbols.type[symbol] === hex ? 16 : 10;
  const value = leadingNumber(state.text[symbol] ?? '', base);
  let bound = ranges.low[range] ?? 0;
  if (value >= boundOf(state, bound, base)) {
    bound = ranges.high[range] ?? 0;
    if (value <= boundOf(state, bound, base)) return;
  }
  state.text[symbol] = state.text[bound] ?? '';
}

/** Whether a text is a value that the symbol may have where it stands (sym_string_within_range). */
export function isInRange(state: EvalState, symbol: number, text: string): boolean {
  const { symbols, ranges } = state.rules;
  const range = activeRange(state, symbol);
  if (range < 0) return true;
  const base = symbols.type[symbol] === hex ? 16 : 10;
  const value = leadingNumber(text, base);
  return (
    value >= boundOf(state, ranges.low[range] ?? 0, base) &&
    value <= boundOf(state, ranges.high[range] ?? 0, base)
  );
}

/** Older trees: the value of a choice, and the member that it makes y. */
export function modeOf(state: EvalState, choice: number): number {
  if (state.choiceValid[choice] === 1) return state.mode[choice] ?? 0;
  if (!state.model.dialect.choiceHasValue) {
    ensureChosen(state, choice);
    return state.mode[choice] ?? 0;
  }
  const { choices } = state.rules;
  const type = choices.type[choice];
  state.choiceValid[choice] = 1;
  state.chosen[choice] = -1;
  state.mode[choice] = 0;
  if (type !== bool && type !== tristate) return 0;
  const { prompted, shown } = choicePrompts(state, choice);
  const isRaised = type === bool || state.modules === 0;
  const visible = isRaised && prompted === 1 ? 2 : prompted;
  let mode = 0;
  if (visible !== 0 && state.choiceHasUser[choice] === 1) {
    mode = lower(state.choiceUserTri[choice] ?? 0, visible);
  }
  // As if it were selected to m wherever it is seen, unless nothing needs to be chosen.
  if (((choices.flags[choice] ?? 0) & optional) === 0 && shown !== 0) mode = higher(mode, 1);
  if (mode === 1 && isRaised) mode = 2;
  state.mode[choice] = mode;
  if (mode === 2) chooseMember(state, choice);
  return state.mode[choice];
}

/** The highest condition of all prompts, and of those that are the last of their entry. */
function choicePrompts(
  state: EvalState,
  choice: number,
): { readonly prompted: number; readonly shown: number } {
  const { choices, choicePrompts: prompts } = state.rules;
  const end = choices.prompts[choice] ?? 0;
  let prompted = 0;
  let shown = 0;
  for (let row = startOf(choices.prompts, choice); row < end; row += 1) {
    const condition = promptCondition(state, prompts, row);
    prompted = higher(prompted, condition);
    const isLast = row + 1 === end || prompts.node[row + 1] !== prompts.node[row];
    if (isLast) shown = higher(shown, condition);
  }
  return { prompted, shown };
}

function chooseMember(state: EvalState, choice: number): void {
  const { symbols, symbolNodes } = state.rules;
  const members = membersOf(state.rules, choice);
  for (const member of members) {
    calculateVisibility(state, member);
    // A member that nobody spoke of makes the whole choice one that is still to be decided.
    if (state.visible[member] !== 0 && state.hasUser[member] === 0) state.choiceHasUser[choice] = 0;
  }
  const user = state.choiceUser[choice] ?? -1;
  const chosen = user >= 0 && state.visible[user] !== 0 ? user : choiceDefault(state, choice);
  state.chosen[choice] = chosen;
  if (chosen >= 0) return;
  state.mode[choice] = 0;
  for (const member of members) {
    const end = symbols.nodes[member] ?? 0;
    for (let row = startOf(symbols.nodes, member); row < end; row += 1) {
      state.nodeValue[symbolNodes.node[row] ?? 0] = pending;
    }
  }
}

/** The first default that can be seen, else the first member that can; -1 for none. */
export function choiceDefault(state: EvalState, choice: number): number {
  const { choices, choiceDefaults } = state.rules;
  const end = choices.defaults[choice] ?? 0;
  for (let row = startOf(choices.defaults, choice); row < end; row += 1) {
    const member = choiceDefaults.member[row] ?? 0;
    if (conditionOf(state, choiceDefaults, row) !== 0 && state.visible[member] !== 0) return member;
  }
  return membersOf(state.rules, choice).find((member) => state.visible[member] !== 0) ?? -1;
}

/** Newer trees: exactly one of the members that can be seen is y (sym_calc_choice). */
function ensureChosen(state: EvalState, choice: number): void {
  if (state.choiceValid[choice] === 1) return;
  state.choiceValid[choice] = 1;
  const members = membersOf(state.rules, choice);
  for (const member of members) {
    state.valid[member] = 1;
    state.written[member] = 0;
    state.tri[member] = 0;
    state.text[member] = 'n';
  }
  for (const member of members) calculateVisibility(state, member);
  const seen = members.filter((member) => state.visible[member] !== 0);
  const chosen = preferredMember(state, choice, seen);
  state.chosen[choice] = chosen;
  state.mode[choice] = chosen < 0 ? 0 : 2;
  for (const member of seen) {
    state.tri[member] = member === chosen ? 2 : 0;
    state.written[member] = 1;
  }
}

function preferredMember(state: EvalState, choice: number, seen: readonly number[]): number {
  const priority = (state.priority[choice] ?? []).filter((member) => state.visible[member] !== 0);
  const isAsked = (member: number, value: number): boolean =>
    state.hasUser[member] === 1 && state.userTri[member] === value;
  const asked = priority.find((member) => isAsked(member, 2));
  if (asked !== undefined) return asked;
  const preferred = choiceDefault(state, choice);
  if (preferred >= 0 && !isAsked(preferred, 0)) return preferred;
  return seen.find((member) => state.hasUser[member] === 0) ?? priority.at(-1) ?? -1;
}
