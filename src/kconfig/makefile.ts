/**
 * Reading a Makefile for the variables in it (GNU make manual, chapters "Conditional Parts of Makefiles" and "How to
 * Use Variables"). Rules and recipes are passed over: nothing is ever made.
 */

export type Assignment = '=' | ':=' | '?=' | '+=' | '!=';

export interface Condition {
  readonly test: (typeof tests)[number];
  readonly text: string;
}

export type MakeStatement =
  | {
      readonly kind: 'assign';
      readonly name: string;
      readonly assignment: Assignment;
      readonly value: string;
      readonly exported: boolean;
    }
  | { readonly kind: 'export' | 'unexport'; readonly names: string }
  | { readonly kind: 'include'; readonly paths: string }
  | { readonly kind: 'if'; readonly condition: Condition }
  /** Without a condition: whatever the ones before were not. */
  | { readonly kind: 'else'; readonly condition: Condition | undefined }
  | { readonly kind: 'endif' };

/** One line as make sees it: continuation lines are joined. */
interface LogicalLine {
  readonly text: string;
  readonly raw: string;
}

function* logicalLines(source: string): Generator<LogicalLine> {
  let pending = '';
  for (const line of source.split('\n')) {
    pending += line;
    if (line.endsWith('\\') && /(?:^|[^\\])(?:\\\\)*\\$/.test(line)) {
      pending += '\n';
      continue;
    }
    yield { raw: pending, text: pending.replaceAll(/[ \t]*\\\n[ \t]*/g, ' ') };
    pending = '';
  }
  if (pending !== '') yield { raw: pending, text: pending.replaceAll(/[ \t]*\\\n[ \t]*/g, ' ') };
}

function withoutComment(text: string): string {
  const at = /(?<!\\)#/.exec(text)?.index;
  return (at === undefined ? text : text.slice(0, at)).replaceAll('\\#', '#');
}

/** Where the operator of an assignment stands; `undefined` for a rule and for anything else. */
function findAssignment(
  text: string,
): { readonly at: number; readonly end: number; readonly assignment: Assignment } | undefined {
  let nesting = 0;
  for (let at = 0; at < text.length; at += 1) {
    const character = text[at];
    if (character === '(' || character === '{') nesting += 1;
    else if (character === ')' || character === '}') nesting -= 1;
    else if (nesting > 0) continue;
    else if (character === '=') {
      const before = text[at - 1];
      const known = before === '+' || before === '?' || before === '!';
      return { at: known ? at - 1 : at, end: at + 1, assignment: known ? `${before}=` : '=' };
    } else if (character === ':') {
      const end = text.indexOf('=', at) + 1;
      return /^:{1,3}=$/.test(text.slice(at, end)) ? { at, end, assignment: ':=' } : undefined;
    }
  }
  return undefined;
}

const tests = ['ifeq', 'ifneq', 'ifdef', 'ifndef'] as const;

function readCondition(text: string): Condition | undefined {
  const [, word, rest = ''] = /^(\w+)\b\s*(.*)$/s.exec(text) ?? [];
  const test = tests.find((one) => one === word);
  return test && { test, text: rest };
}

/** @param source the text of the Makefile, in latin1 */
export function readMakefile(source: string): readonly MakeStatement[] {
  const statements: MakeStatement[] = [];
  let inRule = false;
  /** Whether a rule was open where each `if` began: its other branches go on from there. */
  const opened: boolean[] = [];
  let defining: { readonly name: string; readonly lines: string[]; depth: number } | undefined;
  for (const { text, raw } of logicalLines(source)) {
    if (defining) {
      const word = /^\s*(define|endef)\b/.exec(text)?.[1];
      if (word === 'define') defining.depth += 1;
      if (word === 'endef') defining.depth -= 1;
      if (defining.depth > 0) defining.lines.push(raw);
      else {
        const { name, lines } = defining;
        statements.push({ kind: 'assign', name, assignment: '=', value: lines.join('\n'), exported: false });
        defining = undefined;
      }
      continue;
    }
    if (inRule && text.startsWith('\t')) continue;
    const line = withoutComment(text).trimStart();
    if (line.trim() === '') continue;
    const name = /^(?:override\s+|export\s+)*define\s+(.*?)\s*[:+?]?=?\s*$/.exec(line)?.[1];
    if (name !== undefined) {
      defining = { name, lines: [], depth: 1 };
      continue;
    }
    const condition = readCondition(line);
    const other = /^else\b\s*(.*)$/s.exec(line)?.[1];
    if (condition) {
      statements.push({ kind: 'if', condition });
      opened.push(inRule);
    } else if (other !== undefined) {
      statements.push({ kind: 'else', condition: readCondition(other) });
      inRule = opened.at(-1) ?? false;
    } else if (/^endif\b/.test(line)) {
      statements.push({ kind: 'endif' });
      opened.pop();
    } else {
      const statement = readStatement(line);
      if (statement) statements.push(statement);
      // an expression by itself, as $(error …), ends a rule no more than a blank line does
      inRule = statement === undefined && (inRule || /:/.test(line));
    }
  }
  return statements;
}

function readStatement(line: string): MakeStatement | undefined {
  const paths = /^(?:-include|include|sinclude)\s+(.*)$/s.exec(line)?.[1];
  if (paths !== undefined) return { kind: 'include', paths };
  const words = /^((?:override\s+|export\s+|private\s+)*)(.*)$/s.exec(line);
  const [, modifiers = '', rest = ''] = words ?? [];
  const exported = modifiers.includes('export');
  const found = findAssignment(rest);
  if (found) {
    return {
      kind: 'assign',
      name: rest.slice(0, found.at).trim(),
      assignment: found.assignment,
      value: rest.slice(found.end).trimStart(),
      exported,
    };
  }
  if (exported) return { kind: 'export', names: rest };
  const names = /^unexport\b(.*)$/s.exec(line)?.[1];
  return names === undefined ? undefined : { kind: 'unexport', names };
}
