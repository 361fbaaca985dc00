import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { quoted } from '../diagnostics/printable.ts';
import { cliCodes, type CliCode } from './codes.ts';
import type { Words } from './parse-words.ts';

/** The words of a command line, ready to be read. What is wrong is collected, so that all of it is told at once. */
export interface Arguments {
  /** Grows while the arguments are read. */
  readonly diagnostics: readonly Diagnostic[];
  on(flag: string): boolean;
  text(flag: string): string | undefined;
  /** All values of a flag that may stand there more than once. */
  texts(flag: string): readonly string[];
  /** The value of a flag that the command cannot do without. */
  needed(flag: string): string;
  /** A whole number of at least `least` and at most `most`. */
  number(flag: string, least: number, most: number): number | undefined;
  choice<Choice extends string>(flag: string, choices: readonly Choice[]): Choice | undefined;
  operand(index: number): string;
  /** An argument that may be left out. */
  optionalOperand(index: number): string | undefined;
  /** Notes what is wrong with the value of a flag or argument. */
  refuse(what: string, value: string, help: string): void;
  /** Notes that the two flags exclude each other, when both are there. */
  exclude(flag: string, other: string, why: string): void;
}

/**
 * @param operandNames what the arguments are called; no more are taken
 * @param least how many of them there must be
 * @param seeHelp where to read more, as a sentence
 */
export function readArguments(
  words: Words,
  operandNames: readonly string[],
  least: number,
  seeHelp: string,
): Arguments {
  const { flags, operands } = words;
  const diagnostics = [...words.diagnostics];
  const note = (code: CliCode, message: string, help = seeHelp): undefined => {
    diagnostics.push(cliCodes.report(code, { message, help }));
  };
  const text = (flag: string): string | undefined => {
    const value = flags.get(flag);
    return value === true ? undefined : value;
  };
  const refuse = (flag: string, value: string, help: string): undefined =>
    note('cli/bad-value', `\`--${flag}\` does not take ${quoted(value)}`, help);

  for (const name of operandNames.slice(operands.length, Math.max(least, operands.length))) {
    note('cli/missing-argument', `the argument ${name} is missing`);
  }
  for (const word of operands.slice(operandNames.length)) {
    note('cli/unexpected-argument', `${quoted(word)} is one argument too many`);
  }

  return {
    diagnostics,
    on: (flag) => flags.has(flag),
    text,
    texts: (flag) => words.lists.get(flag) ?? [],
    needed: (flag) => {
      if (!flags.has(flag)) note('cli/missing-option', `the option --${flag} is missing`);
      return text(flag) ?? '';
    },
    number: (flag, least, most) => {
      const value = text(flag);
      if (value === undefined) return undefined;
      const number = /^[0-9]{1,15}$/u.test(value) ? Number(value) : Number.NaN;
      if (number >= least && number <= most) return number;
      return refuse(flag, value, `It takes a whole number from ${least} to ${most}.`);
    },
    choice: (flag, choices) => {
      const value = text(flag);
      if (value === undefined) return undefined;
      const chosen = choices.find((one) => one === value);
      if (chosen !== undefined) return chosen;
      const near = nearest(value, choices);
      const list = choices.map((one) => quoted(one)).join(', ');
      return refuse(flag, value, near === undefined ? `It takes ${list}.` : `Did you mean ${quoted(near)}?`);
    },
    operand: (index) => operands[index] ?? '',
    optionalOperand: (index) => operands[index],
    refuse: (what, value, help) => note('cli/bad-value', `${what} does not take ${quoted(value)}`, help),
    exclude: (flag, other, why) => {
      if (!flags.has(flag) || !flags.has(other)) return;
      note(
        'cli/conflicting-options',
        `--${flag} does not go with --${other}: ${why}`,
        'Leave one of them out.',
      );
    },
  };
}
