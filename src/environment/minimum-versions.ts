/**
 * What a tree says that its tools must be at least. Two of its files do: scripts/min-tool-version.sh (since 5.12), by
 * which the tree's own scripts refuse a tool, and the table of programs in Documentation/process/changes.rst.
 */
import { tools, toolFacts, toolVersion, type KnownEnvironment, type Tool } from './tools.ts';

export const minimumVersionScript = 'scripts/min-tool-version.sh';
export const programTable = 'Documentation/process/changes.rst';

/** The exported variables that the script looks at. */
export interface ScriptVariables {
  readonly ARCH: string;
  readonly SRCARCH: string;
}

export interface Minimum {
  readonly version: string;
  readonly file: string;
  /** @asType integer */
  readonly line: number;
  /** Nothing is built with an older one; otherwise the tree only says so. */
  readonly enforced: boolean;
}

/** The minimum of each tool that the tree speaks of. The script counts where both do. */
export function readMinimums(
  read: (path: string) => string | undefined,
  variables: ScriptVariables,
): ReadonlyMap<Tool, Minimum> {
  const script = read(minimumVersionScript) ?? '';
  const table = readProgramTable(read(programTable) ?? '');
  const found = new Map<Tool, Minimum>();
  for (const tool of tools) {
    const ofScript = minimumVersion(script, tool, variables);
    const listed = table.find(
      ({ program }) => program.toLowerCase() === toolFacts[tool].listed.toLowerCase(),
    );
    if (ofScript) found.set(tool, { ...ofScript, file: minimumVersionScript, enforced: true });
    else if (listed && /^\d/u.test(listed.minimum)) {
      const { minimum: version, line } = listed;
      // before there was the script, include/linux/compiler-*.h had an #error for compilers that are older
      const enforced = tool === 'gcc' || tool === 'llvm';
      found.set(tool, { version, file: programTable, line, enforced });
    }
  }
  return found;
}

/**
 * What the script prints for a tool: of its `case`, the branch of the tool, in which an `if` may tell architectures apart.
 *
 * @returns `undefined` when it knows no such tool
 */
export function minimumVersion(
  script: string,
  tool: Tool,
  variables: ScriptVariables,
): { readonly version: string; readonly line: number } | undefined {
  const lines = script.split('\n');
  const start = lines.indexOf(`${tool})`);
  let taken = true;
  for (const [nth, line] of lines.entries()) {
    if (start < 0 || nth <= start) continue;
    if (/^\t;;$/u.test(line)) return undefined;
    const condition = /^\s*(?:el)?if (.*?);? *(?:then)?$/u.exec(line)?.[1];
    if (condition !== undefined) {
      const holds = isTrue(condition, variables);
      // nobody is told what nobody can read
      if (holds === undefined) return undefined;
      taken = holds;
    }
    // the branch before it was not taken, or its echo would have ended this
    else if (/^\s*(?:else|fi)$/u.test(line)) taken = true;
    const version = /^\s*echo (\d[\d.]*)$/u.exec(line)?.[1];
    if (taken && version !== undefined) return { version, line: nth + 1 };
  }
  return undefined;
}

/** A condition of test(1) over the two variables; nothing when it is another one. `-a` binds before `-o`. */
function isTrue(condition: string, variables: ScriptVariables): boolean | undefined {
  const inside = /^\[ (.*) \]$/u.exec(condition)?.[1];
  const terms = inside
    ?.split(' -o ')
    .map((either) => either.split(' -a ').map((term) => compared(term, variables)));
  if (!terms || terms.flat().includes(undefined)) return undefined;
  return terms.some((all) => all.every((one) => one === true));
}

function compared(term: string, variables: ScriptVariables): boolean | undefined {
  const [, name, operator, value] = /^"?\$(ARCH|SRCARCH)"? (!?=) "?(\w+)"?$/u.exec(term) ?? [];
  if (name !== 'ARCH' && name !== 'SRCARCH') return undefined;
  return (variables[name] === value) === (operator === '=');
}

interface ListedProgram {
  /** Without `(optional)` and references to footnotes. */
  readonly program: string;
  /** As it stands there: `2.10o`, `3.9.x`, `any`. */
  readonly minimum: string;
  readonly line: number;
}

/** The rows of the first simple table of a reStructuredText document; its second row of `=` ends the head. */
export function readProgramTable(text: string): readonly ListedProgram[] {
  const lines = text.split('\n');
  const borders = lines.flatMap((line, nth) => (/^=+(?: +=+)+$/u.test(line) ? [nth] : []));
  const [top, head, end] = borders;
  if (top === undefined || head === undefined || end === undefined) return [];
  const [first = '', between = '', second = ''] = /^(=+)( +)(=+)/u.exec(lines[top] ?? '')?.slice(1) ?? [];
  const at = first.length + between.length;
  return lines.slice(head + 1, end).map((line, nth) => {
    const columns = withoutTabs(line);
    return {
      program: columns
        .slice(0, at)
        .replace(/\(optional\)|\\ \[#\w+\]_/gu, '')
        .trim(),
      minimum: columns.slice(at, at + second.length).trim(),
      line: head + 2 + nth,
    };
  });
}

/** Tabs lead to the next multiple of eight, as docutils takes them. */
function withoutTabs(line: string): string {
  return line.split('\t').reduce((made, part) => `${made}${' '.repeat(8 - (made.length % 8))}${part}`);
}

/** A tool of the environment that the tree does not take, or says that it should not. */
export interface OldTool {
  readonly tool: Tool;
  readonly has: string;
  readonly needs: Minimum;
}

export function oldTools(
  minimums: ReadonlyMap<Tool, Minimum>,
  used: readonly Tool[],
  environment: KnownEnvironment,
): readonly OldTool[] {
  return used.flatMap((tool) => {
    const needs = minimums.get(tool);
    const has = toolVersion(tool, environment);
    return needs === undefined || isAtLeast(has, needs.version) ? [] : [{ tool, has, needs }];
  });
}

/** Parts that are not known count as the newest: of a compiler the major version alone may be. */
export function isAtLeast(has: string, needs: string): boolean {
  const [is, wanted] = [has, needs].map((version) =>
    version.split('.').map((part) => Number.parseInt(part, 10)),
  );
  for (const [place, least] of (wanted ?? []).entries()) {
    const part = is?.[place];
    if (part === undefined || Number.isNaN(least) || part > least) return true;
    if (part < least) return false;
  }
  return true;
}
