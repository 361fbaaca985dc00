/** How questions get into an environment, and answers out of it: as files that a shell script can handle. */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { decodeLatin1, encodeLatin1 } from './latin1.ts';
import { packCodes } from './pack-codes.ts';
import { expansionOf } from './probes.ts';

export interface Questions {
  /** Command lines, each once. */
  readonly commands: readonly string[];
  /** The environment that they run in, beyond the one that the machine has. */
  readonly variables: Readonly<Record<string, string>>;
}

const numberOf = (index: number): string => String(index + 1).padStart(5, '0');

/**
 * The files that templates/kit/probes.sh.hbs reads beside the tree: path to content.
 *
 * @throws RangeError when a command or a variable is one that no shell can have
 */
export function questionFiles({ commands, variables }: Questions): ReadonlyMap<string, Uint8Array> {
  const assignments = Object.entries(variables).map(([name, value]) => {
    if (!/^[A-Za-z_]\w*$/.test(name)) throw new RangeError(`no name of a variable: ${JSON.stringify(name)}`);
    return `${name}='${value.replaceAll("'", `'\\''`)}'\nexport ${name}\n`;
  });
  const files: [string, Uint8Array][] = [
    ['variables', encodeLatin1(assignments.join(''))],
    ...commands.map((command, index): [string, Uint8Array] => [
      `questions/${numberOf(index)}`,
      encodeLatin1(command),
    ]),
  ];
  for (const [path, content] of files) {
    if (content.includes(0)) throw new RangeError(`a shell cannot have a zero byte in ${path}`);
  }
  return new Map(files);
}

/**
 * Reads what the script wrote. Where the tree was is replaced by `.`, so that an answer holds wherever it is used.
 *
 * @returns command to what it printed, as `$(shell …)` has it; all of them or none
 */
export function readAnswers(
  bytes: Uint8Array,
  commands: readonly string[],
): { readonly value: ReadonlyMap<string, string>; readonly diagnostics: readonly Diagnostic[] } {
  const bad = (why: string): ReturnType<typeof readAnswers> => ({
    value: new Map(),
    diagnostics: [
      packCodes.report('kconfig/bad-probe-file', {
        message: `the answers of the environment cannot be read: ${why}`,
        help: 'Ask again: what the engine or the system said is above.',
      }),
    ],
  });
  const text = decodeLatin1(bytes);
  const head = /^tree ([^\n]+)\n/.exec(text);
  if (!head) return bad('they do not begin as answers');
  const folder = head[1] ?? '';
  const answers = new Map<string, string>();
  let at = head[0].length;
  for (const [index, command] of commands.entries()) {
    const end = text.indexOf('\n', at);
    const [, number, length] = /^(\d{5}) (\d{1,4})$/.exec(text.slice(at, Math.max(end, at))) ?? [];
    if (number !== numberOf(index) || length === undefined)
      return bad(`the answer to question ${index + 1} is not there`);
    at = end + 1 + Number(length);
    if (text[at] !== '\n') return bad(`the answer to question ${index + 1} is cut off`);
    answers.set(command, expansionOf(text.slice(end + 1, at)).replaceAll(folder, '.'));
    at += 1;
  }
  return at === text.length ? { value: answers, diagnostics: [] } : bad('there are more than were asked for');
}
