/**
 * The values of variables in Makefiles, worked out on demand: an assignment counts only when its conditions hold, and
 * these are looked at only when somebody wants the variable. So what the kernel's Makefiles say of a hundred things that
 * nobody asks for, much of it by running the compiler, costs nothing.
 */
import { substitutePattern, textFunctions, wordsOf } from './make-functions.ts';
import { readMakefile, type Assignment, type Condition } from './makefile.ts';
import { expansionOf, type Probes } from './probes.ts';
import type { TreeFiles } from './tree-files.ts';

export interface MakeCall {
  readonly files: TreeFiles;
  /** Answers what `$(shell …)` asks. */
  readonly probes: Probes;
  /** Variables of the command line: no assignment changes them. */
  readonly overrides: ReadonlyMap<string, string>;
  /** Variables that make itself or the environment sets: any assignment changes them. */
  readonly defaults: ReadonlyMap<string, string>;
}

/** A branch of a conditional: all of these were found false, and then this one true. */
interface Branch {
  readonly earlier: readonly TimedCondition[];
  readonly own: TimedCondition | undefined;
}

interface TimedCondition extends Condition {
  readonly time: number;
  holds?: boolean;
}

interface Binding {
  readonly time: number;
  readonly guards: readonly Branch[];
  readonly assignment: Assignment;
  readonly text: string;
  /** What a `:=` comes to: it is worked out with the variables as they were then, whenever it is asked for. */
  simple?: string;
}

interface ExportChange {
  readonly time: number;
  readonly guards: readonly Branch[];
  readonly names: string;
  readonly on: boolean;
}

/** Stands in values for an answer that is not known; texts are latin1, so that it can come from nowhere else. */
const unanswered = '\uffff';
/** Deeper than any Makefile nests, and less than the stack holds. */
const deepest = 120;
const mostIncludes = 200;

/** Reads Makefiles from the one at the root on, and whatever they include. */
export class MakeValues {
  /** Commands that were asked and have no answer yet. */
  readonly missing: Set<string> = new Set<string>();
  /** Commands whose answer was used. */
  readonly asked: Set<string> = new Set<string>();
  private readonly bindings = new Map<string, Binding[]>();
  private readonly exports: ExportChange[] = [];
  private readonly call: MakeCall;
  private time = 0;
  private includes = 0;
  private depth = 0;

  constructor(call: MakeCall, path: string) {
    this.call = call;
    this.read(path, []);
  }

  /** The value of a variable at the end of everything; `undefined` when it has none, or hangs on an answer not known. */
  value(name: string): string | undefined {
    const value = this.valueAt(name, this.time + 1);
    return value?.includes(unanswered) ? undefined : value;
  }

  /** The names of all variables that programs which make runs will see. */
  exported(): ReadonlySet<string> {
    const names = new Set<string>();
    for (const change of this.exports) {
      if (!this.holds(change.guards)) continue;
      for (const name of wordsOf(this.expand(change.names, change.time))) {
        if (change.on) names.add(name);
        else names.delete(name);
      }
    }
    return names;
  }

  private read(path: string, outer: readonly Branch[]): void {
    const text = this.call.files.read(path.replace(/^(?:\.\/)+/, ''));
    this.includes += 1;
    if (text === undefined || this.includes > mostIncludes) return;
    const stack: Branch[] = [...outer];
    for (const statement of readMakefile(text)) {
      this.time += 1;
      const { time } = this;
      const guards = [...stack];
      switch (statement.kind) {
        case 'assign': {
          const name = statement.name.includes('$') ? this.expand(statement.name, time) : statement.name;
          const binding = { time, guards, assignment: statement.assignment, text: statement.value };
          const known = this.bindings.get(name);
          if (known) known.push(binding);
          else this.bindings.set(name, [binding]);
          if (statement.exported) this.exports.push({ time, guards, names: name, on: true });
          break;
        }
        case 'export':
        case 'unexport':
          this.exports.push({ time, guards, names: statement.names, on: statement.kind === 'export' });
          break;
        case 'include':
          if (!this.holds(guards)) break;
          for (const included of wordsOf(this.expand(statement.paths, time))) this.read(included, guards);
          break;
        case 'if':
          stack.push({ earlier: [], own: { ...statement.condition, time } });
          break;
        case 'else': {
          const before = stack.length > outer.length ? stack.pop() : undefined;
          if (!before) break;
          const earlier = before.own ? [...before.earlier, before.own] : before.earlier;
          stack.push({ earlier, own: statement.condition && { ...statement.condition, time } });
          break;
        }
        case 'endif':
          if (stack.length > outer.length) stack.pop();
          break;
      }
    }
  }

  private holds(guards: readonly Branch[]): boolean {
    return guards.every(
      ({ earlier, own }) => earlier.every((one) => !this.test(one)) && (own === undefined || this.test(own)),
    );
  }

  private test(condition: TimedCondition): boolean {
    condition.holds ??= this.decide(condition);
    return condition.holds;
  }

  private decide({ test, text, time }: TimedCondition): boolean {
    switch (test) {
      case 'ifdef':
      case 'ifndef': {
        const value = this.textAt(this.expand(text, time).trim(), time);
        return (value !== undefined && value !== '') === (test === 'ifdef');
      }
      case 'ifeq':
      case 'ifneq': {
        const [left = '', right = ''] = splitComparison(text).map((part) => this.expand(part, time));
        return (left === right) === (test === 'ifeq');
      }
    }
  }

  private bindingAt(
    name: string,
    time: number,
  ): { readonly binding: Binding; readonly index: number } | undefined {
    const all = this.bindings.get(name) ?? [];
    for (let index = all.length - 1; index >= 0; index -= 1) {
      const binding = all[index];
      if (binding && binding.time < time && this.holds(binding.guards)) return { binding, index };
    }
    return undefined;
  }

  /** What was assigned, not expanded: `ifdef` asks for no more. */
  private textAt(name: string, time: number): string | undefined {
    const given = this.call.overrides.get(name);
    if (given !== undefined) return given;
    return this.bindingAt(name, time)?.binding.text ?? this.call.defaults.get(name);
  }

  private valueAt(name: string, time: number): string | undefined {
    return this.bounded(() => this.valueBefore(name, time, time), undefined);
  }

  /**
   * @param before assignments from this time on do not count
   * @param now the variables that a recursive value refers to are those of this time
   */
  private valueBefore(name: string, before: number, now: number): string | undefined {
    const given = this.call.overrides.get(name);
    if (given !== undefined) return given;
    const found = this.bindingAt(name, before);
    if (!found) return this.call.defaults.get(name);
    const { binding } = found;
    switch (binding.assignment) {
      case ':=':
        return (binding.simple ??= this.expand(binding.text, binding.time));
      case '!=':
        return (binding.simple ??= this.shell(this.expand(binding.text, binding.time)));
      case '?=': {
        const earlier = this.valueBefore(name, binding.time, now);
        return earlier ?? this.expand(binding.text, now);
      }
      case '+=': {
        const earlier = this.valueBefore(name, binding.time, now);
        const time = this.isSimple(name, binding.time) ? binding.time : now;
        const added = this.expand(binding.text, time);
        return earlier === undefined || earlier === '' ? added : `${earlier} ${added}`;
      }
      case '=':
        return this.expand(binding.text, now);
    }
  }

  private isSimple(name: string, before: number): boolean {
    const binding = this.bindingAt(name, before)?.binding;
    if (!binding) return false;
    return binding.assignment === '+=' ? this.isSimple(name, binding.time) : binding.assignment === ':=';
  }

  private bounded<T>(work: () => T, otherwise: T): T {
    if (this.depth >= deepest) return otherwise;
    this.depth += 1;
    try {
      return work();
    } finally {
      this.depth -= 1;
    }
  }

  private expand(text: string, time: number, parameters: readonly string[] = []): string {
    return this.bounded(() => {
      let value = '';
      let from = 0;
      for (let at = text.indexOf('$'); at >= 0; at = text.indexOf('$', from)) {
        value += text.slice(from, at);
        const opening = text[at + 1];
        if (opening !== '(' && opening !== '{') {
          value += opening === '$' ? '$' : this.reference(opening ?? '', time, parameters);
          from = at + 2;
          continue;
        }
        const end = closing(text, at + 1);
        if (end < 0) return value + text.slice(at);
        value += this.reference(text.slice(at + 2, end), time, parameters);
        from = end + 1;
      }
      return value + text.slice(from);
    }, '');
  }

  /** What stands between the parentheses: a function with its arguments, or the name of a variable. */
  private reference(inner: string, time: number, parameters: readonly string[]): string {
    const [, name = '', rest = ''] = /^([a-z-]+)[ \t\n]\s*(.*)$/s.exec(inner) ?? [];
    const applied = name === '' ? undefined : this.apply(name, rest, time, parameters);
    if (applied !== undefined) return applied;
    const expanded = inner.includes('$') ? this.expand(inner, time, parameters) : inner;
    if (/^\d+$/.test(expanded)) return parameters[Number(expanded)] ?? '';
    const [, variable, suffix, replacement = ''] = /^([^:=]+):([^=]+)=(.*)$/s.exec(expanded) ?? [];
    if (variable !== undefined && suffix !== undefined) {
      const pattern = suffix.includes('%') ? suffix : `%${suffix}`;
      const changed = suffix.includes('%') ? replacement : `%${replacement}`;
      return substitutePattern(pattern, changed, this.valueAt(variable, time) ?? '');
    }
    return this.valueAt(expanded, time) ?? '';
  }

  /** @returns `undefined` when there is no such function */
  private apply(name: string, rest: string, time: number, parameters: readonly string[]): string | undefined {
    const expand = (text: string): string => this.expand(text, time, parameters);
    switch (name) {
      case 'if': {
        const [test = '', then = '', ...otherwise] = splitArguments(rest);
        return expand(test.trim()) === '' ? expand(otherwise.join(',')) : expand(then);
      }
      case 'or':
        return (
          splitArguments(rest)
            .map((one) => expand(one.trim()))
            .find(Boolean) ?? ''
        );
      case 'and': {
        const values = splitArguments(rest).map((one) => expand(one.trim()));
        return values.includes('') ? '' : (values.at(-1) ?? '');
      }
      case 'shell':
        return this.shell(expand(rest));
      case 'call': {
        const [called = '', ...given] = splitArguments(rest).map(expand);
        const text = this.textAt(called.trim(), time);
        if (text === undefined) return textFunctions.get(called.trim())?.(...given) ?? '';
        return this.expand(text, time, [called, ...given]);
      }
      case 'foreach': {
        const [variable = '', list = '', ...body] = splitArguments(rest);
        const loop = expand(variable).trim();
        const text = body.join(',');
        const marked = new RegExp(
          `\\$(?:\\(${loop}\\)|\\{${loop}\\}${loop.length === 1 ? `|${loop}` : ''})`,
          'g',
        );
        return wordsOf(expand(list))
          .map((word) => expand(text.replaceAll(marked, () => word)))
          .join(' ');
      }
      case 'origin': {
        const variable = expand(rest).trim();
        if (this.call.overrides.has(variable)) return 'command line';
        if (this.bindingAt(variable, time)) return 'file';
        return this.call.defaults.has(variable) ? 'environment' : 'undefined';
      }
      case 'value':
        return this.textAt(expand(rest).trim(), time) ?? '';
      case 'wildcard':
        return wordsOf(expand(rest))
          .filter((path) => this.call.files.read(path.replace(/^(?:\.\/)+/, '')) !== undefined)
          .join(' ');
      case 'realpath':
      case 'abspath':
        return wordsOf(expand(rest))
          .map((path) => absolute(this.valueAt('CURDIR', time) ?? '/', path))
          .join(' ');
      default: {
        const known = textFunctions.get(name);
        return known && known(...splitArguments(rest).map(expand));
      }
    }
  }

  private shell(command: string): string {
    if (command.includes(unanswered)) return unanswered;
    const output = this.call.probes.answer(command);
    if (output === undefined) {
      this.missing.add(command);
      return unanswered;
    }
    this.asked.add(command);
    return expansionOf(output);
  }
}

function closing(text: string, at: number): number {
  const open = text[at];
  const close = open === '(' ? ')' : '}';
  let nesting = 0;
  for (let position = at; position < text.length; position += 1) {
    if (text[position] === open) nesting += 1;
    else if (text[position] === close) {
      nesting -= 1;
      if (nesting === 0) return position;
    }
  }
  return -1;
}

/** At commas outside of parentheses. */
function splitArguments(text: string): readonly string[] {
  const parts: string[] = [];
  let nesting = 0;
  let from = 0;
  for (let at = 0; at < text.length; at += 1) {
    const character = text[at];
    if (character === '(' || character === '{') nesting += 1;
    else if (character === ')' || character === '}') nesting -= 1;
    else if (character === ',' && nesting === 0) {
      parts.push(text.slice(from, at));
      from = at + 1;
    }
  }
  return [...parts, text.slice(from)];
}

/** `(a,b)`, or two words each in quotes of either kind. */
function splitComparison(text: string): readonly string[] {
  const trimmed = text.trim();
  if (trimmed.startsWith('(')) {
    const end = closing(trimmed, 0);
    const [left = '', ...right] = splitArguments(trimmed.slice(1, end < 0 ? undefined : end));
    return [left.trim(), right.join(',').trim()];
  }
  const [, , left = '', , right = ''] = /^(["'])(.*?)\1\s*(["'])(.*?)\3/s.exec(trimmed) ?? [];
  return [left, right];
}

function absolute(folder: string, path: string): string {
  const parts: string[] = [];
  for (const part of (path.startsWith('/') ? path : `${folder}/${path}`).split('/')) {
    if (part === '..') parts.pop();
    else if (part !== '' && part !== '.') parts.push(part);
  }
  return `/${parts.join('/')}`;
}
