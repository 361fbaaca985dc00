/**
 * Whatever a tree or a configuration holds, reading it ends in a result or in errors with their places, within a second,
 * and never in an exception. Here are the inputs; robustness.slow.test.ts has a hundred thousand of them.
 */
import fc from 'fast-check';

import { configDiagnostics } from '../../src/kconfig/config-diagnostics.ts';
import {
  configure,
  saveDefconfig,
  type ConfigMode,
  type Configuration,
} from '../../src/kconfig/configure.ts';
import { dialects } from '../../src/kconfig/dialect.ts';
import { keyFiles } from '../../src/kconfig/key-files.ts';
import type { Model } from '../../src/kconfig/model.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import { fragmentRequests } from '../../src/kconfig/requests.ts';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import {
  printConfig,
  printKconfig,
  randomConfig,
  randomKconfig,
  type RandomConfig,
  type RandomKconfig,
} from '../oracle/random-kconfig.ts';
import { releases, type Release } from './small-tree.ts';

/** What became of the inputs so far. */
export interface Survey {
  inputs: number;
  /** They have a meaning. */
  models: number;
  /** Milliseconds of the processor's time that the slowest took. */
  slowest: number;
}

export function newSurvey(): Survey {
  return { inputs: 0, models: 0, slowest: 0 };
}

const mostMilliseconds = 1000;

/** Counts one input. @throws Error when it takes too long */
function timed<T>(survey: Survey, read: () => T): T {
  // Of the processor's time, since others may want the machine too.
  const started = process.cpuUsage();
  const result = read();
  const { user, system } = process.cpuUsage(started);
  const milliseconds = (user + system) / 1000;
  survey.inputs += 1;
  survey.slowest = Math.max(survey.slowest, milliseconds);
  if (milliseconds > mostMilliseconds) throw new Error(`it took ${milliseconds} ms`);
  return result;
}

/** Each one names a place in a file that was read, from which whoever prints it works out the line. */
function checkPlaces(diagnostics: readonly Diagnostic[], sources: ReadonlyMap<string, string>): void {
  for (const { message, span } of diagnostics) {
    const text = span && sources.get(span.file);
    if (!span || text === undefined) throw new Error(`no place is given: ${message}`);
    if (!(span.start >= 0 && span.end >= span.start && span.start <= text.length)) {
      throw new Error(`a place outside of the file, ${span.start} to ${span.end}: ${message}`);
    }
  }
}

/** How a tree is read and what is made of it. */
export interface Manner {
  readonly release: Release;
  readonly mode: ConfigMode;
  /** What every probe answers; `undefined` for answers that are not known. */
  readonly answer: string | undefined;
  /** Files that are not there are empty instead. */
  readonly lenient: boolean;
}

export const manner: fc.Arbitrary<Manner> = fc.record({
  release: fc.constantFrom(...releases),
  mode: fc.constantFrom<ConfigMode>(
    'olddefconfig',
    'olddefconfig',
    'defconfig',
    'alldefconfig',
    'allnoconfig',
    'allyesconfig',
    'allmodconfig',
  ),
  answer: fc.constantFrom(undefined, '', 'y\n', 'n\n', '120200\n', '")\n$(shell,x)\n\n'),
  lenient: fc.boolean(),
});

export type Files = Readonly<Record<string, string>>;

/** Reads files as a tree, and makes a configuration of it when it is one. */
export function surviveTree(survey: Survey, files: Files, how: Manner, config: string): void {
  timed(survey, () => {
    const { model, diagnostics, sources } = parseTree({
      files: { read: (path) => (Object.hasOwn(files, path) ? files[path] : how.lenient ? '' : undefined) },
      probes: { answer: () => how.answer },
      environment: { ARCH: 'x86_64', SRCARCH: 'x86', srctree: '.' },
      dialect: dialects[how.release],
    });
    checkPlaces(diagnostics, sources);
    if (model) {
      survey.models += 1;
      checkConfiguration(model, how.mode, config);
    } else if (!diagnostics.some(({ severity }) => severity === 'error')) {
      throw new Error('there is neither a result nor an error');
    }
  });
}

/** Reads a configuration for a tree that was read before. */
export function surviveConfig(survey: Survey, model: Model, mode: ConfigMode, config: string): void {
  timed(survey, () => checkConfiguration(model, mode, config));
  survey.models += 1;
}

/** Reads a configuration with all that reads such a text. */
function checkConfiguration(model: Model, mode: ConfigMode, config: string): void {
  const sources = new Map([['.config', config]]);
  checkPlaces(fragmentRequests(config, '.config').diagnostics, sources);
  keyFiles(config);
  const { warnings, text }: Configuration = configure(model, mode, config);
  checkPlaces(configDiagnostics(warnings, '.config', config), sources);
  if (!text.startsWith('#\n# Automatically generated file; DO NOT EDIT.\n'))
    throw new Error('there is no head');
  saveDefconfig(model, text);
}

/** One change of a text; places are in millionths of it. */
export interface Edit {
  readonly kind: number;
  readonly place: number;
  readonly other: number;
  readonly length: number;
  readonly word: number;
}

export const edits: fc.Arbitrary<readonly Edit[]> = fc.array(
  fc.record({
    kind: fc.nat(9),
    place: fc.nat(1_000_000),
    other: fc.nat(1_000_000),
    length: fc.nat(12),
    word: fc.nat(10_000),
  }),
  { minLength: 1, maxLength: 6 },
);

/** Changes a text: bytes, words and lines are taken away, put in from elsewhere, doubled and exchanged. */
export function edited(text: string, list: readonly Edit[], words: readonly string[]): string {
  return list.reduce((before, one) => editedOnce(before, one, words), text);
}

function editedOnce(
  text: string,
  { kind, place, other, length, word }: Edit,
  words: readonly string[],
): string {
  const at = Math.floor((place / 1_000_000) * text.length);
  const elsewhere = Math.floor((other / 1_000_000) * text.length);
  const [start, end] = lineAt(text, at);
  switch (kind) {
    case 0:
      return text.slice(0, at) + text.slice(at + length);
    case 1:
      return text.slice(0, at) + String.fromCharCode(word % 256) + text.slice(at + 1);
    case 2:
      return text.slice(0, start) + text.slice(end);
    case 3:
      return text.slice(0, end) + text.slice(start, end) + text.slice(end);
    case 4:
      return text.slice(0, at) + text.slice(elsewhere, elsewhere + length * 8) + text.slice(at);
    case 5: {
      const [from, to] = lineAt(text, elsewhere);
      return text.slice(0, start) + text.slice(from, to) + text.slice(end);
    }
    case 6:
      return text.slice(0, at);
    default:
      return text.slice(0, at) + (words[word % words.length] ?? '') + text.slice(at + (length >> 2));
  }
}

/** Where a line starts and ends, its line feed included. */
function lineAt(text: string, at: number): readonly [number, number] {
  const end = text.indexOf('\n', at);
  return [text.lastIndexOf('\n', at - 1) + 1, end < 0 ? text.length : end + 1];
}

/** What Kconfig files are made of. */
export const kconfigWords: readonly string[] = [
  ...['config ', 'menuconfig ', 'choice\n', 'endchoice\n', 'menu "m"\n', 'endmenu\n', 'if ', 'endif\n'],
  ...['comment "c"\n', 'source "Kconfig"\n', 'source "other"\n', 'mainmenu "Otter"\n', 'help\n', '  text\n'],
  ...['bool\n', 'tristate "t"\n', 'int\n', 'hex\n', 'string\n', 'prompt "p"', 'optional\n', 'modules\n'],
  ...[
    'option modules\n',
    'option defconfig_list\n',
    'option allnoconfig_y\n',
    'transitional\n',
    'visible if ',
  ],
  ...['default ', 'def_bool ', 'def_tristate ', 'select ', 'imply ', 'range ', 'depends on ', ' if ', ' on '],
  ...['A', 'B', 'C ', 'MODULES', 'y', 'm', 'n', '0', '-7', '0x10', '010', '"text"', "'text'", '"', "'", '\\'],
  ...[
    '(',
    ')',
    '!',
    '&&',
    '||',
    '=',
    '!=',
    '<',
    '<=',
    '>',
    '>=',
    ':=',
    '+=',
    '#',
    ',',
    '\t',
    ' ',
    '\n',
    '\n\n',
  ],
  ...['$', '$(', '$(A)', '$(shell,true)', '$(if-success,y,n)', '$(error-if,y,no)', '$(warning-if,y,no)'],
  ...[
    '$(info,x)',
    '$(filename)',
    '$(lineno)',
    'A = $(B)\n',
    'B := $(A)\n',
    'A += $(A)\n',
    '\\\n',
    '\r',
    '\0',
    '\xff',
  ],
];

/** What configurations are made of. */
export const configWords: readonly string[] = [
  ...[
    'CONFIG_',
    '# CONFIG_',
    ' is not set',
    '=y',
    '=m',
    '=n',
    '=',
    '=0',
    '=-1',
    '=007',
    '=0x',
    '=0xFFFFFFFFFFFFFFFF',
  ],
  ...[
    '="',
    '="text"',
    '="\\',
    '\\"',
    '"',
    '#',
    ' ',
    '\n',
    '\r\n',
    '\r',
    '\0',
    '\xff',
    'CONFIG_MODULES=y\n',
    'Y',
    '9',
  ],
];

/** A text of words in any order. */
export const wordSoup: fc.Arbitrary<string> = fc
  .array(fc.nat(kconfigWords.length - 1), { maxLength: 80 })
  .map((list) => list.map((index) => kconfigWords[index]).join(''));

/** Any bytes. */
export const garbage: fc.Arbitrary<string> = fc
  .uint8Array({ maxLength: 400 })
  .map((bytes) => Buffer.from(bytes).toString('latin1'));

/** A small tree that has everything the language has, a configuration for it, and what damages both. */
export interface DamagedSnippet {
  readonly kconfig: RandomKconfig;
  readonly config: RandomConfig;
  readonly kconfigEdits: readonly Edit[];
  readonly configEdits: readonly Edit[];
}

export const damagedSnippet: fc.Arbitrary<DamagedSnippet> = fc.record({
  kconfig: randomKconfig,
  config: randomConfig,
  kconfigEdits: edits,
  configEdits: edits,
});

/** The texts of a damaged snippet in the words of a release. */
export function snippetTexts(
  { kconfig, config, kconfigEdits, configEdits }: DamagedSnippet,
  release: Release,
): readonly [string, string] {
  return [
    edited(printKconfig(kconfig, release), kconfigEdits, kconfigWords),
    edited(printConfig(config), configEdits, configWords),
  ];
}

type Repeated = (count: number) => string | Files;

const entries = (count: number, attribute: (at: number) => string): string =>
  Array.from({ length: count }, (_, at) => `config A${at}\n\tbool "a"\n${attribute(at)}`).join('');

/** What is repeated, nested or led in circles as often as somebody likes. */
export const repetitions: readonly Repeated[] = [
  (count) => `config A\n\tbool "a" if ${'('.repeat(count)}B${')'.repeat(count)}\n`,
  (count) => `config A\n\tbool "a" if ${'!('.repeat(count)}B\n`,
  (count) => `config A\n\tbool "a"\n\tdepends on ${'!'.repeat(count)}B\n`,
  (count) => `config A\n\tdef_bool ${'B && (C || '.repeat(count)}B${')'.repeat(count)}\n`,
  (count) => `config A\n\tdef_bool ${'B = C || '.repeat(count)}B\n`,
  (count) => 'if A\n'.repeat(count) + 'endif\n'.repeat(count),
  (count) => 'menu "m"\n\tvisible if A\n'.repeat(count),
  (count) => 'choice\n\tprompt "c"\n'.repeat(count),
  (count) => `choice\n\tprompt "c"\n${'if A\n'.repeat(count)}config B\n\tbool "b"\n`,
  (count) => `choice\n\tprompt "c"\n${entries(count, () => '')}endchoice\n`,
  (count) => `choice\n\tprompt "c"\n${entries(count, (at) => `\tdepends on A${at + 1}\n`)}endchoice\n`,
  (count) => entries(count, (at) => `\tdepends on A${at + 1}\n`),
  (count) => entries(count, (at) => `\tdepends on A${(at + 1) % count}\n`),
  (count) => entries(count, (at) => `\tselect A${(at * 7 + 1) % count}\n`),
  (count) => entries(count, (at) => `\tselect A${at + 1}\n\timply A${at + 2}\n`),
  (count) => entries(count, (at) => `\tdefault A${at + 1} if A${at + 2} || A${at + 3}\n`),
  (count) =>
    Array.from({ length: count }, (_, at) => `config A${at}\n\tint\n\trange A${at + 1} 9\n`).join(''),
  (count) => 'config A\n\tbool "a"\n\tdefault y\n\tselect A\n'.repeat(count),
  (count) => `config A\n\tbool "a"\n\thelp\n${'\t  text\n\n'.repeat(count)}`,
  (count) => `X := ${'$('.repeat(count)}${')'.repeat(count)}\n`,
  (count) => `X = ${'$(X)'.repeat(count)}\nY := $(X)\n`,
  (count) => `X = $(X,${'a,'.repeat(count)})\nY := $(X,b)\n`,
  (count) =>
    `A0 = x\n${Array.from({ length: count }, (_, at) => `A${at + 1} = $(A${at})$(A${at})\n`).join('')}Y := $(A${count})\n`,
  (count) => `X = ${'x'.repeat(count)}\n${'X += $(X)\n'.repeat(count)}config $(X)\n`,
  (count) => `X := x\n${'X += $(X)\n'.repeat(count)}`,
  (count) => `X := ${'$(shell,echo )'.repeat(count)}\n`,
  (count) => `config ${'A'.repeat(count)}\n\tstring "${'\\"'.repeat(count)}`,
  (count) => `${'\\\n'.repeat(count)}config A\n\tbool${' \\\n'.repeat(count)}\n`,
  (count) => '$(info,a)$(warning-if,y,b)\n'.repeat(count),
  (count) => `${'gauge\n'.repeat(count)}${'@'.repeat(count)}`,
  (count) => ({ Kconfig: 'source "a"\n'.repeat(count), a: `${'if A\n'.repeat(count)}source "Kconfig"\n` }),
  (count) => ({ Kconfig: 'source "a"\n'.repeat(count), a: 'source "b"\n'.repeat(count), b: 'X := y\n' }),
  (count) => ({
    Kconfig: 'source "f0"\n',
    ...Object.fromEntries(Array.from({ length: count }, (_, at) => [`f${at}`, `source "f${at + 1}"\n`])),
  }),
];

/** Something repeated, as files. */
export function repeatedFiles(index: number, count: number): Files {
  const made = repetitions[index]?.(count) ?? '';
  return typeof made === 'string' ? { Kconfig: made } : made;
}
