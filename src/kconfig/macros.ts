import { quoted } from '../diagnostics/printable.ts';
import type { KconfigCode } from './codes.ts';
import { expansionOf, type Probes } from './probes.ts';

export type Flavor = 'recursive' | 'simple' | 'append';

interface Variable {
  value: string;
  simple: boolean;
  /** How many expansions of it are under way. */
  active: number;
}

export interface Expanded {
  readonly value: string;
  /** Where the text goes on that was not part of it. */
  readonly end: number;
}

/** Where the reader is, and how it takes complaints. */
export interface MacroHost {
  file(): string;
  line(): number;
  /** The place is the statement or token that is being read. */
  complain(code: KconfigCode, message: string, help?: string): void;
  /** The same, and nothing that follows can be read. */
  fail(code: KconfigCode, message: string, help?: string): void;
}

export interface MacroInput {
  readonly environment: Readonly<Record<string, string>>;
  readonly probes: Probes;
}

/**
 * Stands in texts for an answer that is not known. Kconfig texts are latin1, so that it can come from nowhere else; a
 * command with it in it cannot be asked yet.
 */
const unanswered = '\uffff';

/** As in the kernel's program (preprocess.c). */
const mostArguments = 16;
/** No tree nests deeper than ten; the limit keeps a hostile one from exhausting the stack. */
const deepest = 100;
/** Characters looked at while expanding: eighty times what the largest tree needs. */
const mostWork = 5_000_000;

const openParenthesis = 0x28;
const closeParenthesis = 0x29;
const dollar = 0x24;
const comma = 0x2c;

function endsWord(code: number): boolean {
  const isWord =
    (code >= 0x30 && code <= 0x39) ||
    (code >= 0x41 && code <= 0x5a) ||
    (code >= 0x61 && code <= 0x7a) ||
    code === 0x5f ||
    code === 0x2d;
  return !isWord;
}

/** Variables and functions of Kconfig: everything behind `$(`. Expansion happens while a tree is read, and only then. */
export class Macros {
  /** Commands whose answer is not known, in the order in which they are asked. */
  readonly missing: Set<string> = new Set<string>();
  /** Variables that nobody has set, neither a file nor the environment. */
  readonly unset: Set<string> = new Set<string>();
  /** Commands whose answer was used. */
  readonly asked: Set<string> = new Set<string>();

  private readonly variables = new Map<string, Variable>();
  private readonly input: MacroInput;
  private readonly host: MacroHost;
  private depth = 0;
  private work = 0;
  private failed = false;

  constructor(input: MacroInput, host: MacroHost) {
    this.input = input;
    this.host = host;
  }

  /** `name = value`, `name := value` or `name += value`. */
  assign(name: string, value: string, flavor: Flavor): void {
    const known = this.variables.get(name);
    const appended = flavor === 'append' && known !== undefined;
    const simple = appended ? known.simple : flavor === 'simple';
    const text = simple ? this.expand(value, 0, value.length, []) : value;
    if (!known) this.variables.set(name, { value: text, simple, active: 0 });
    else {
      this.spend(known.value.length + text.length);
      known.value = appended ? `${known.value} ${text}` : text;
      known.simple = simple;
    }
  }

  /** A word with `$` in it, from `start` to at most `end`. A word that hangs on an unknown answer is taken for n. */
  expandWord(text: string, start: number, end: number): Expanded {
    let value = '';
    let from = start;
    let position = start;
    while (position < end && !this.failed) {
      const code = text.charCodeAt(position);
      if (code === dollar) {
        value += text.slice(from, position);
        const expanded = this.dollar(text, position + 1, end, []);
        value += expanded.value;
        position = expanded.end;
        from = position;
      } else if (endsWord(code)) break;
      else position += 1;
    }
    value += text.slice(from, position);
    return { value: value.includes(unanswered) ? 'n' : value, end: position };
  }

  /** What stands behind `$` in a string. */
  expandDollar(text: string, start: number, end: number): Expanded {
    const expanded = this.dollar(text, start, end, []);
    if (!expanded.value.includes(unanswered)) return expanded;
    return { value: expanded.value.replaceAll(unanswered, ''), end: expanded.end };
  }

  private fail(message: string, help?: string): '' {
    if (!this.failed) this.host.fail('kconfig/macro', message, help);
    this.failed = true;
    return '';
  }

  private spend(characters: number): void {
    this.work += characters;
    if (this.work > mostWork) this.fail('expanding macros takes too long: the tree uses them without end');
  }

  /** @param start right behind `$` */
  private dollar(text: string, start: number, end: number, parameters: readonly string[]): Expanded {
    if (start >= end || text.charCodeAt(start) !== openParenthesis) return { value: '$', end: start };
    let nesting = 0;
    let position = start + 1;
    for (; position < end; position += 1) {
      const code = text.charCodeAt(position);
      if (code === openParenthesis) nesting += 1;
      else if (code === closeParenthesis) {
        if (nesting === 0) break;
        nesting -= 1;
      }
    }
    this.spend(position - start);
    if (position >= end) {
      const shown = quoted(text.slice(start + 1, Math.min(end, start + 100)));
      return { value: this.fail(`the reference to ${shown} is not closed: \`)\` is missing`), end };
    }
    return { value: this.clause(text.slice(start + 1, position), parameters), end: position + 1 };
  }

  private expand(text: string, start: number, end: number, parameters: readonly string[]): string {
    let value = '';
    let from = start;
    let position = start;
    while (position < end && !this.failed) {
      if (text.charCodeAt(position) !== dollar) {
        position += 1;
        continue;
      }
      value += text.slice(from, position);
      const expanded = this.dollar(text, position + 1, end, parameters);
      value += expanded.value;
      position = expanded.end;
      from = position;
    }
    this.spend(end - start);
    if (this.failed) return '';
    return from === start ? text.slice(start, end) : value + text.slice(from, end);
  }

  /** What stands between the parentheses: a name, and arguments behind commas. */
  private clause(text: string, parameters: readonly string[]): string {
    if (this.failed) return '';
    if (parameters.length > 0 && /^\d+$/.test(text)) {
      const index = Number(text);
      const value = index > 0 ? parameters[index - 1] : undefined;
      if (value !== undefined) return value;
    }
    this.depth += 1;
    if (this.depth > deepest) {
      this.depth = 0;
      return this.fail('macros are nested too deeply');
    }
    const parts: string[] = [];
    let nesting = 0;
    let from = 0;
    for (let position = 0; position <= text.length; position += 1) {
      const code = text.charCodeAt(position);
      if (position === text.length || (code === comma && nesting === 0)) {
        if (parts.length >= mostArguments)
          return this.fail(`there are more than ${mostArguments - 1} arguments`);
        parts.push(this.expand(text, from, position, parameters));
        from = position + 1;
      } else if (code === openParenthesis) nesting += 1;
      else if (code === closeParenthesis) nesting -= 1;
    }
    const [name = '', ...values] = parts;
    const value = this.failed ? '' : this.call(name, values);
    this.depth -= 1;
    return value;
  }

  private call(name: string, values: readonly string[]): string {
    const variable = this.variables.get(name);
    if (variable) return this.expandVariable(name, variable, values);
    const called = this.callFunction(name, values);
    if (called !== undefined) return called;
    if (values.length > 0) return '';
    const value = this.environmentVariable(name);
    if (value === undefined && !/^\d/.test(name)) this.unset.add(name);
    return value ?? '';
  }

  private environmentVariable(name: string): string | undefined {
    const { environment } = this.input;
    return Object.hasOwn(environment, name) ? environment[name] : undefined;
  }

  private expandVariable(name: string, variable: Variable, values: readonly string[]): string {
    if (values.length === 0 && variable.active > 0) {
      return this.fail(`the variable ${quoted(name)} refers to itself`);
    }
    if (variable.simple) {
      this.spend(variable.value.length);
      return variable.value;
    }
    variable.active += 1;
    const value = this.expand(variable.value, 0, variable.value.length, values);
    variable.active -= 1;
    return value;
  }

  /** @returns `undefined` when there is no such function */
  private callFunction(name: string, values: readonly string[]): string | undefined {
    const takes = arities.get(name);
    if (takes === undefined) return undefined;
    if (values.length !== takes) {
      const few = values.length < takes ? 'few' : 'many';
      return this.fail(`too ${few} arguments for ${quoted(name)}: it takes ${takes}`);
    }
    const [first = '', second = ''] = values;
    switch (name) {
      case 'filename':
        return this.host.file();
      case 'lineno':
        return String(this.host.line());
      case 'shell':
        return this.ask(first);
      case 'info':
        this.host.complain('kconfig/info', shown(first));
        return '';
      case 'warning-if':
        if (first === 'y') this.host.complain('kconfig/warning-if', shown(second));
        return '';
      default:
        if (first !== 'y') return '';
        this.failed = true;
        this.host.fail('kconfig/error-if', shown(second));
        return '';
    }
  }

  private ask(command: string): string {
    if (command.includes(unanswered)) return unanswered;
    const output = this.input.probes.answer(command);
    if (output === undefined) {
      this.missing.add(command);
      return unanswered;
    }
    this.asked.add(command);
    const value = expansionOf(output);
    this.spend(value.length);
    return value;
  }
}

/** The functions, and how many arguments each takes. */
const arities: ReadonlyMap<string, number> = new Map([
  ['error-if', 2],
  ['filename', 0],
  ['info', 1],
  ['lineno', 0],
  ['shell', 1],
  ['warning-if', 2],
]);

function shown(message: string): string {
  return message.replaceAll(unanswered, '…');
}
