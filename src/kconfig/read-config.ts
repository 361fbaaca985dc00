/**
 * Reading a `.config` into the symbols of a model, as conf_read_simple of the kernel's program does (confdata.c).
 */
import type { EvalState } from './eval-state.ts';
import type { Choice, ConfigSymbol, Tristate } from './model.ts';
import { isNumberText } from './numbers.ts';
import { leadingString } from './quote.ts';

export type ConfigWarningKind =
  /** Neither a value nor a comment. */
  | 'unexpected'
  /** The value is none of the option's type; the line counts for nothing. */
  | 'invalid'
  /** The quote at the end is missing; the line counts for nothing. */
  | 'open-string'
  /** The option has a value already; this one counts. */
  | 'again'
  /** Older trees: another member of the same choice is y already; this one counts. */
  | 'choice-again'
  /** Older trees: a member is m and another one of the same choice y. */
  | 'choice-mixed'
  /** The tree has no such option; the program says nothing about it. */
  | 'unknown';

/** What was found wrong in a `.config`. */
export interface ConfigWarning {
  readonly kind: ConfigWarningKind;
  /** From 1. */
  readonly line: number;
  /** Without prefix; of an unexpected line empty. */
  readonly option: string;
  /** As it stands in the line; of an unexpected line the line. */
  readonly value: string;
}

const prefix = 'CONFIG_';

/** A line that says something about an option, before anybody has looked whether there is such an option. */
interface Line {
  readonly option: string;
  readonly value: string;
  readonly unset: boolean;
}

/**
 * Gives the symbols of `state` the values that a `.config` asks for, and takes away those they had.
 *
 * @param text in latin1
 */
export function readConfig(state: EvalState, text: string): readonly ConfigWarning[] {
  const { model } = state;
  const warnings: ConfigWarning[] = [];
  const { choiceHasValue } = model.dialect;
  state.hasUser.fill(0);
  state.userTri.fill(0);
  state.userText.length = 0;
  state.choiceHasUser.fill(choiceHasValue ? 1 : 0);
  state.choiceUserTri.fill(0);
  state.choiceUser.fill(-1);
  const named = new Map(model.choices.map((choice) => [choice.name, choice]));

  let line = 0;
  for (let start = 0; start < text.length;) {
    line += 1;
    const newline = text.indexOf('\n', start);
    const end = newline < 0 ? text.length : newline;
    const raw = text.slice(start, end);
    const found = readLine(state, raw, newline >= 0);
    start = end + 1;
    if (found === undefined) continue;
    if (found === 'unexpected') {
      warnings.push({ kind: 'unexpected', line, option: '', value: raw });
      continue;
    }
    const { option, value } = found;
    const warn = (kind: ConfigWarningKind): void => {
      warnings.push({ kind, line, option, value });
    };
    const symbol = model.byName.get(option);
    const choice = named.get(option);
    if (symbol) take(state, symbol, found, warn);
    else if (choice) takeMode(state, choice, found, warn);
    else warn('unknown');
  }
  return warnings;
}

type Warn = (kind: ConfigWarningKind) => void;

function take(state: EvalState, symbol: ConfigSymbol, found: Line, warn: Warn): void {
  if (state.hasUser[symbol.id] === 1) warn('again');
  const fault = giveValue(state, symbol, found);
  if (fault) warn(fault);
  else if (!state.model.dialect.choiceHasValue) prefer(state, symbol);
  else {
    const mixed = tellChoice(state, symbol);
    if (mixed) warn(mixed);
  }
}

/** Older trees: a choice that has a name can be given a value like an option. */
function takeMode(state: EvalState, { id, type }: Choice, { value }: Line, warn: Warn): void {
  if (state.choiceHasUser[id] === 1) warn('again');
  const mode = tristateOfText(value, type === 'tristate');
  if (mode === undefined) {
    warn('invalid');
    return;
  }
  state.choiceUserTri[id] = mode;
  state.choiceHasUser[id] = 1;
}

/** @returns `undefined` for a line without meaning that nobody minds */
function readLine(state: EvalState, raw: string, ended: boolean): Line | 'unexpected' | undefined {
  const { exactNotSet, looseComment, reportsBareName } = state.model.dialect;
  // A text ends at a zero byte for the program, and so does a line.
  const zero = raw.indexOf('\0');
  let line = zero < 0 ? raw : raw.slice(0, zero);
  if (ended && zero < 0 && line.endsWith('\r')) line = line.slice(0, -1);
  if (line === '') return undefined;
  if (line.startsWith('#')) {
    if (line.charAt(1) !== ' ' && !looseComment) return undefined;
    if (!line.startsWith(prefix, 2)) return undefined;
    const blank = line.indexOf(' ', 2 + prefix.length);
    if (blank < 0) return undefined;
    const rest = line.slice(blank + 1);
    if (exactNotSet ? rest !== 'is not set' : !rest.startsWith('is not set')) return undefined;
    return { option: line.slice(2 + prefix.length, blank), value: 'n', unset: true };
  }
  if (!line.startsWith(prefix)) return line.startsWith('\r') && !exactNotSet ? undefined : 'unexpected';
  const equals = line.indexOf('=', prefix.length);
  if (equals < 0) return reportsBareName ? 'unexpected' : undefined;
  return { option: line.slice(prefix.length, equals), value: line.slice(equals + 1), unset: false };
}

function giveValue(
  state: EvalState,
  symbol: ConfigSymbol,
  { value, unset }: Line,
): ConfigWarningKind | undefined {
  const { id, type } = symbol;
  switch (type) {
    case 'bool':
    case 'tristate': {
      const tri = tristateOfText(value, type === 'tristate');
      if (tri === undefined) return 'invalid';
      state.userTri[id] = tri;
      break;
    }
    case 'int':
    case 'hex':
      if (unset && !state.model.dialect.notSetIsValue) return undefined;
      if (!isNumberText(type, value)) return 'invalid';
      state.userText[id] = value;
      break;
    case 'string': {
      if (!value.startsWith('"')) return undefined;
      // What stands behind the closing quote counts for nothing.
      const text = leadingString(value);
      if (text === undefined) return 'open-string';
      state.userText[id] = text;
      break;
    }
    case 'unknown':
      return undefined;
  }
  state.hasUser[id] = 1;
  return undefined;
}

/** The first character alone counts. */
function tristateOfText(value: string, withModule: boolean): Tristate | undefined {
  switch (value.charAt(0)) {
    case 'y':
      return 2;
    case 'n':
      return 0;
    case 'm':
      return withModule ? 1 : undefined;
    default:
      return undefined;
  }
}

/** Newer trees: the member that was spoken of last goes before the others. */
function prefer(state: EvalState, member: ConfigSymbol): void {
  const priority = member.choice && state.priority[member.choice.id];
  if (!priority) return;
  const index = priority.indexOf(member.id);
  if (index > 0) {
    priority.splice(index, 1);
    priority.unshift(member.id);
  }
}

/** Older trees: a choice is as high as the highest of its members, and goes to the last that is y. */
function tellChoice(state: EvalState, member: ConfigSymbol): ConfigWarningKind | undefined {
  const { choice } = member;
  if (!choice) return undefined;
  const value = state.userTri[member.id] ?? 0;
  const before = state.choiceUserTri[choice.id] ?? 0;
  let kind: ConfigWarningKind | undefined;
  if (value === 1 && before === 2) {
    kind = 'choice-mixed';
    state.choiceHasUser[choice.id] = 0;
  } else if (value === 2) {
    if (before !== 0) kind = 'choice-again';
    state.choiceUser[choice.id] = member.id;
  }
  state.choiceUserTri[choice.id] = Math.max(before, value);
  return kind;
}
