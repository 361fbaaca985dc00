import { parseArgs } from 'node:util';

import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { quoted } from '../diagnostics/printable.ts';
import { cliCodes } from './codes.ts';
import type { Flag, Flags } from './flags.ts';

/** What stands behind the name of a command. */
export interface Words {
  /** Long name to value; `true` for a flag that takes none, or whose value is not as it should be. */
  readonly flags: ReadonlyMap<string, string | true>;
  /** All values of the flags that may stand there more than once, in their order. */
  readonly lists: ReadonlyMap<string, readonly string[]>;
  readonly operands: readonly string[];
  readonly diagnostics: readonly Diagnostic[];
}

interface GivenOption {
  readonly name: string;
  /** As it was written: `-o`, `--output`. */
  readonly rawName: string;
  readonly value?: string | undefined;
  /** The value was written with `=`, or right behind the letter. */
  readonly inlineValue?: boolean | undefined;
}

/**
 * Takes the words apart and notes every option that is unknown, repeated, or with a value too many or too few.
 *
 * @param flags all that are understood, by their long names
 * @param seeHelp what to say where nothing better is known
 */
export function parseWords(words: readonly string[], flags: Flags, seeHelp: string): Words {
  const options = Object.fromEntries(
    Object.entries(flags).map(([name, { short, value }]) => [
      name,
      { type: value === undefined ? ('boolean' as const) : ('string' as const), ...(short && { short }) },
    ]),
  );
  // Not strict, since strict parsing throws at the first mistake and tells no nearest spelling.
  const { tokens } = parseArgs({
    args: [...words],
    options,
    strict: false,
    allowPositionals: true,
    tokens: true,
  });
  const given = new Map<string, string | true>();
  const lists = new Map<string, string[]>();
  const operands: string[] = [];
  const diagnostics: Diagnostic[] = [];
  for (const token of tokens) {
    if (token.kind === 'positional') operands.push(token.value);
    if (token.kind !== 'option') continue;
    const flag = Object.hasOwn(flags, token.name) ? flags[token.name] : undefined;
    const mistake = flag
      ? mistakeIn(token, flag, given.has(token.name))
      : unknownOption(token, flags, seeHelp);
    if (mistake) diagnostics.push(mistake);
    if (flag?.many && !mistake && token.value !== undefined) {
      lists.set(token.name, [...(lists.get(token.name) ?? []), token.value]);
    }
    if (flag && !given.has(token.name)) given.set(token.name, mistake ? true : (token.value ?? true));
  }
  return { flags: given, lists, operands, diagnostics };
}

function unknownOption({ rawName }: GivenOption, flags: Flags, seeHelp: string): Diagnostic {
  const near = rawName.startsWith('--') ? nearest(rawName.slice(2), Object.keys(flags)) : undefined;
  return cliCodes.report('cli/unknown-option', {
    message: `there is no option ${quoted(rawName)} here`,
    help: near === undefined ? seeHelp : `Did you mean \`--${near}\`?`,
  });
}

function mistakeIn(
  option: GivenOption,
  { value: wanted, many }: Flag,
  repeated: boolean,
): Diagnostic | undefined {
  const { name, rawName, value, inlineValue } = option;
  if (wanted === undefined) {
    if (value === undefined) return undefined;
    return cliCodes.report('cli/unwanted-value', {
      message: `\`--${name}\` takes no value, but was given ${quoted(value)}`,
      help: `Write \`--${name}\` alone, or leave it out.`,
    });
  }
  if (value === undefined || value === '') {
    return cliCodes.report('cli/missing-value', {
      message: `${quoted(rawName)} stands without its value`,
      help: `Write \`--${name} ${wanted}\`.`,
    });
  }
  // A forgotten value swallows the option behind it; who means a value with a dash in front can say so.
  if (!inlineValue && value.startsWith('-') && value !== '-') {
    return cliCodes.report('cli/missing-value', {
      message: `${quoted(rawName)} stands without its value: ${quoted(value)} looks like an option`,
      help: `Write \`--${name} ${wanted}\`, or \`--${name}=${value}\` if that is meant.`,
    });
  }
  if (!repeated || many) return undefined;
  return cliCodes.report('cli/repeated-option', {
    message: `\`--${name}\` stands there more than once`,
    help: 'Keep the one that is meant.',
  });
}
