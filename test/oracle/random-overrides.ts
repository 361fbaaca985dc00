/**
 * What people append to a `.config`, right and wrong: lines for options of the tree, and the mistakes that are made with
 * them. A function of its number alone, and of the texts that it is given.
 */
import { seededRandom, type SeededRandom } from './seeded-random.ts';

/** Names that Kconfig files define, taken from their text, so that nothing here rests on what is to be tested. */
export interface DefinedNames {
  readonly all: readonly string[];
  readonly inChoices: readonly string[];
}

export function definedNames(kconfigTexts: Iterable<string>): DefinedNames {
  const all = new Set<string>();
  const inChoices = new Set<string>();
  for (const text of kconfigTexts) {
    let depth = 0;
    for (const [, word = '', name = ''] of text.matchAll(
      /^[ \t]*(choice|endchoice|(?:menu)?config)\b[ \t]*(\w*)/gmu,
    )) {
      if (word === 'choice') depth += 1;
      else if (word === 'endchoice') depth -= 1;
      else if (name !== '') (depth > 0 ? inChoices : all).add(name);
    }
  }
  return { all: [...all, ...inChoices], inChoices: [...inChoices] };
}

const lineOf = /^(?:# )?CONFIG_(\w+)(?:=(.*)| is not set)$/u;

/**
 * @param base the `.config` that they are meant for, in latin1
 * @param count how many there are; a third of them is wrong in some way, and some of those are several lines
 */
export function overrideLines(
  base: string,
  names: DefinedNames,
  count: number,
  seed: number,
): readonly string[] {
  const random = seededRandom(seed);
  const lines = base.split('\n').filter((line) => lineOf.test(line));
  return Array.from({ length: count }, (_, index) => {
    const { name, value } = target(lines, names, random);
    return index % 3 === 0 ? wrong(name, value, random) : [right(name, value, random)];
  }).flat();
}

/** The base with overrides appended, as somebody does with an editor or `cat`. */
export function withOverrides(base: string, names: DefinedNames, count: number, seed: number): string {
  return `${base}${overrideLines(base, names, count, seed).join('\n')}\n`;
}

function target(
  lines: readonly string[],
  names: DefinedNames,
  random: SeededRandom,
): { readonly name: string; readonly value: string } {
  const from = random.below(5);
  if (from < 3 && lines.length > 0) {
    // Numbers and strings are rare in a .config: they are looked for as often as the others.
    const valued = from === 2 ? lines.filter((line) => !/=[ym]$| is not set$/u.test(line)) : lines;
    const [, name = '', value = 'n'] = lineOf.exec(random.pick(valued.length > 0 ? valued : lines)) ?? [];
    return { name, value };
  }
  const pool = from === 3 && names.inChoices.length > 0 ? names.inChoices : names.all;
  return { name: random.pick(pool), value: 'n' };
}

function right(name: string, value: string, random: SeededRandom): string {
  if (value.startsWith('"'))
    return `CONFIG_${name}="${random.pick(['', 'otter', 'a b', 'gauge \\"7\\"', '\\\\', '\xe9#'])}"`;
  if (/^0x/iu.test(value))
    return `CONFIG_${name}=${random.pick(['0x', '0X', ''])}${random.below(0x10000).toString(16)}`;
  if (/^-?\d/u.test(value))
    return `CONFIG_${name}=${random.pick([String(random.below(64)), String(random.below(100_000)), `-${1 + random.below(9)}`])}`;
  const chosen = random.pick(['y', 'y', 'm', 'n', '']);
  if (chosen === '') return `CONFIG_${name}=n`;
  return chosen === 'n' ? `# CONFIG_${name} is not set` : `CONFIG_${name}=${chosen}`;
}

/** The lines of one mistake. */
function wrong(name: string, value: string, random: SeededRandom): readonly string[] {
  const option = `CONFIG_${name}`;
  const mistakes: readonly (() => readonly string[])[] = [
    // names
    () => [`${option}_SLUICE=y`],
    () => [`# ${option}_SLUICE is not set`],
    () => [`CONFIG_${option}=y`],
    () => [`${option.toLowerCase()}=y`],
    () => [`${name}=y`],
    // types
    () => [
      `${option}=${random.pick(['5', '0', '"y"', 'Y', 'yes', 'no', 'module', '1', 'true', '', ' y', 'y '])}`,
    ],
    () => [`${option}=${random.pick(['y', 'm', 'n', '0x', '0xg', '010', '+1', '1.5', '1 ', '--1', '0b1'])}`],
    () => [`${option}=${random.pick(['otter', "'otter'", '0x10', '12'])}`],
    () => [`# ${option} is not set`],
    // ranges
    () => [
      `${option}=${random.pick(['999999999999', '-999999999999', '-1', '0', '9223372036854775807', '9223372036854775808', '99999999999999999999'])}`,
    ],
    () => [`${option}=${random.pick(['0xffffffff', '0xffffffffffffffff', '0x0', '0x1ffffffffffffffff'])}`],
    // quoting
    () => [
      `${option}=${random.pick(['"otter', 'otter"', '"otter"bank', '"otter\\"', '"\\', '"a""b"', '""', '"', '"otter" # bank'])}`,
    ],
    // spelling of the line
    () => [
      random.pick([
        `#${option} is not set`,
        `#  ${option} is not set`,
        `# ${option} is not set `,
        `# ${option} is not set!`,
        `# ${option} is notset`,
        `## ${option} is not set`,
        `#\t${option} is not set`,
      ]),
    ],
    () => [
      random.pick([
        option,
        `${option} =y`,
        ` ${option}=y`,
        `\t${option}=m`,
        `export ${option}=y`,
        `${option}:=y`,
        `# ${option}=y`,
      ]),
    ],
    () => [`${option}=y\r`, `# ${option} is not set\r`],
    // several lines of one option
    () => [`${option}=y`, `# ${option} is not set`],
    () => [`# ${option} is not set`, `${option}=m`],
    () => [`${option}=${value}`, `${option}=${value}`],
    () => [`${option}=7`, `${option}=y`, `${option}="7"`],
  ];
  return random.pick(mistakes)();
}
