/**
 * Which probes a line of a Kconfig file asks. The model holds what they answered, not that they were asked: the line is
 * read once more, with the macros of the tree.
 */
import { Macros, type Flavor } from './macros.ts';
import type { Place } from './model.ts';
import type { Probes } from './probes.ts';
import { expansionOf } from './probes.ts';
import { probeRemedy } from './probe-remedy.ts';
import type { ProbeFact, VariableFact } from './reason.ts';
import type { TreeFiles } from './tree-files.ts';

export interface TraceInput {
  readonly files: TreeFiles;
  /** All Kconfig files that were read, in that order (`Model.files`). */
  readonly paths: readonly string[];
  readonly probes: Probes;
  readonly environment: Readonly<Record<string, string>>;
}

export interface Trace {
  /** Probes of the line, those first whose answer is n or nothing. */
  readonly probes: readonly ProbeFact[];
  /** Variables of the kernel's Makefile that the line expands. */
  readonly variables: readonly VariableFact[];
}

export interface ProbeTrace {
  /** @param option whose value the line gives, when it gives one */
  at(place: Place, option?: string): Trace;
}

interface Variable {
  readonly text: string;
  /** Asked when it was assigned, which happens once for `:=`. */
  readonly asked: readonly string[];
}

const flavors: Readonly<Record<string, Flavor>> = { '=': 'recursive', ':=': 'simple', '+=': 'append' };

/** The macros of the tree are read when the first line is asked for. */
export function createProbeTrace(input: TraceInput): ProbeTrace {
  const { files, probes, environment } = input;
  const compiler = environment['CC_VERSION_TEXT'] ?? '';
  let asked: string[] = [];
  let failed = false;
  const recorder: Probes = {
    answer(command) {
      asked.push(command);
      return probes.answer(command);
    },
  };
  const variables = new Map<string, Variable>();
  let reading: Place = { file: '', line: 0 };
  const macros = new Macros(
    { environment, probes: recorder },
    {
      file: () => reading.file,
      line: () => reading.line,
      complain: () => undefined,
      fail: () => {
        failed = true;
      },
    },
  );
  let ready = false;

  function readMacros(): void {
    ready = true;
    for (const file of input.paths) {
      const text = files.read(file);
      if (text === undefined || !/^[\w-]+[ \t]*(?:[:+]?=)/m.test(text)) continue;
      for (const [, name = '', operator = '', value = ''] of text
        .replaceAll('\\\n', ' ')
        .matchAll(/^([\w-]+)[ \t]*([:+]?=)[ \t]*(.*)$/gm)) {
        if (failed) return;
        asked = [];
        macros.assign(name, value, flavors[operator] ?? 'recursive');
        const before = operator === '+=' ? variables.get(name) : undefined;
        variables.set(name, {
          text: `${before?.text ?? ''} ${value}`,
          asked: [...(before?.asked ?? []), ...asked],
        });
      }
    }
  }

  /** Commands that the variables in a text were made of, and the names that the kernel's Makefile has to give. */
  function follow(text: string, seen: Set<string>, commands: Set<string>, names: Set<string>): void {
    for (const [, name = ''] of text.matchAll(/\$\(([\w-]+)[,)]/g)) {
      if (seen.has(name)) continue;
      seen.add(name);
      const variable = variables.get(name);
      if (!variable) {
        if (Object.hasOwn(environment, name)) names.add(name);
        continue;
      }
      for (const command of variable.asked) commands.add(command);
      follow(variable.text, seen, commands, names);
    }
  }

  function trace(place: Place, option: string | undefined): Trace {
    const text = statementAt(files, place);
    if (!text.includes('$(')) return { probes: [], variables: [] };
    if (!ready) readMacros();
    if (failed) return { probes: [], variables: [] };
    reading = place;
    const commands = new Map<string, string>();
    const names = new Set<string>();
    for (let at = text.indexOf('$('); at >= 0 && !failed;) {
      asked = [];
      const { end } = macros.expandDollar(text, at + 1, text.length);
      const written = text.slice(at, end);
      const behind = new Set<string>(asked);
      follow(written, new Set(), behind, names);
      for (const command of behind) if (!commands.has(command)) commands.set(command, written);
      at = text.indexOf('$(', end);
    }
    const facts = [...commands].map(([command, written]): ProbeFact => {
      const answer = expansionOf(probes.answer(command) ?? '');
      const remedy = probeRemedy(option, command, compiler);
      return { written, command, answer, file: place.file, line: place.line, ...(remedy && { remedy }) };
    });
    const isNo = ({ answer }: ProbeFact): boolean => answer === 'n' || answer === '';
    return {
      probes: [...facts.filter(isNo), ...facts.filter((fact) => !isNo(fact))],
      variables:
        facts.length > 0
          ? []
          : [...names].map((name) => {
              const remedy = probeRemedy(option, name, compiler);
              const value = environment[name] ?? '';
              return { name, value, file: place.file, line: place.line, ...(remedy && { remedy }) };
            }),
    };
  }

  return { at: trace };
}

/** A statement with its continued lines. */
function statementAt(files: TreeFiles, { file, line }: Place): string {
  const text = files.read(file) ?? '';
  let start = 0;
  for (let current = 1; current < line; current += 1) {
    const next = text.indexOf('\n', start);
    if (next < 0) return '';
    start = next + 1;
  }
  let statement = '';
  for (;;) {
    const end = text.indexOf('\n', start);
    const part = end < 0 ? text.slice(start) : text.slice(start, end);
    if (!part.endsWith('\\') || end < 0) return statement + part;
    statement += `${part.slice(0, -1)} `;
    start = end + 1;
  }
}
