import { readFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';
import { printable, quoted, shellTyped } from '../diagnostics/printable.ts';
import { architectures, type Architecture } from '../environment/architectures.ts';
import type { Host } from '../host/host.ts';
import { exists, writeWhole } from '../host/output-folder.ts';
import { templatesFolder } from '../host/package-root.ts';
import { configArchitecture, isConfig, versionInHeading } from '../kconfig/given-config.ts';
import { readDotConfig } from '../kconfig/dot-config.ts';
import { keyFiles } from '../kconfig/key-files.ts';
import { encodeLatin1 } from '../kconfig/latin1.ts';
import { fillTemplate, type Quoting } from '../report/fill-template.ts';
import {
  base as baseGrammar,
  baseTarget,
  kernelVersion,
  projectName,
  type Grammar,
} from '../spec/grammar.ts';
import { architectureNamed } from '../spec/machine-names.ts';
import { debianReleases, type DebianRelease } from '../spec/spec.ts';
import { commandCodes } from './codes.ts';
import type { CommandResult } from './command.ts';
import { readGivenConfig, runningConfig, type GivenConfig } from './given-config.ts';
import type { NewOptions } from './options.ts';

export interface NewValue {
  /** Path of the spec. */
  readonly spec: string;
  /** Paths of all files that were written. */
  readonly files: readonly string[];
}

/** The kernel series of each Debian release: its archive has the package linux-source-SERIES. */
const seriesOf: Readonly<Record<DebianRelease, string>> = {
  bullseye: '5.10',
  bookworm: '6.1',
  trixie: '6.12',
};

/** As the spec's grammar has it; the kernel takes no more than 64 characters for the whole release (init/Makefile). */
const longestSuffix = 50;

/** `quern new`: a first spec, with comments, from a few answers or from a configuration that there is. */
export async function newSpec(options: NewOptions, host: Host): Promise<CommandResult<NewValue>> {
  const { name, base = 'defconfig', output = '.' } = options;
  const given = await givenConfig(options, host);
  const arch = architectureFor(given, options.arch);
  const version = options.kernel ?? versionFrom(given) ?? seriesOf.bookworm;
  assertAnswers([
    ['NAME', name, projectName],
    ['--kernel', version, kernelVersion],
    ['--base', base, baseGrammar],
  ]);
  const release = debianReleases.find((one) => seriesOf[one] === version);
  const view: SpecView = {
    file: `${name}.yaml`,
    name,
    suffix: `-${name}`.slice(0, longestSuffix),
    version,
    arch,
    debian: release === undefined ? '' : `linux-source-${version}`,
    tarball: `linux-${version}.tar.xz`,
    release: release ?? 'bookworm',
    configFile: given ? `${name}.config` : '',
    origin: given?.origin ?? '',
    base,
    cleared: given ? optionsOfForeignKeys(given) : [],
  };
  const files = new Map<string, string | Uint8Array>([
    [join(output, view.file), await specText(view)],
    ...(given ? [[join(output, view.configFile), encodeLatin1(given.text)] as const] : []),
  ]);
  await assertNew(host, [...files.keys()]);
  for (const [path, content] of files) await writeWhole(resolve(host.cwd, path), content);
  const [spec = view.file] = files.keys();
  const besides = [
    ...(release === undefined ? [view.tarball] : []),
    ...(given || baseTarget.test(base) || (await exists(resolve(host.cwd, output, base))) ? [] : [base]),
  ];
  return {
    exit: exitCodes.ok,
    diagnostics: [],
    value: { spec, files: [...files.keys()] },
    text: [
      `written: ${[...files.keys()].join(', ')}`,
      ...(besides.length > 0 ? [`lay ${besides.join(' and ')} beside it, and then`] : []),
      `next: quern check ${shellTyped(spec)}`,
    ].join('\n'),
  };
}

/** What the template is filled in with; what there is none of is empty. */
interface SpecView {
  readonly file: string;
  readonly name: string;
  /** Of the kernel release. */
  readonly suffix: string;
  readonly version: string;
  readonly arch: string;
  readonly debian: string;
  readonly tarball: string;
  readonly release: DebianRelease;
  readonly configFile: string;
  readonly origin: string;
  readonly base: string;
  readonly cleared: readonly string[];
}

async function specText(view: SpecView): Promise<string> {
  const template = await readFile(join(templatesFolder(), 'spec.yaml.hbs'), 'utf8');
  return fillTemplate(template, view, yamlQuoting);
}

/** In quotes, or behind a `#`. No value that the grammars of a spec let through would end either. */
const yamlQuoting: Quoting = {
  scalar: (value) => JSON.stringify(value),
  comment: (value) => printable(value),
};

async function givenConfig({ config, running }: NewOptions, host: Host): Promise<GivenConfig | undefined> {
  if (config === undefined) return running ? runningConfig('') : undefined;
  const given = await readGivenConfig(host, config);
  if (isConfig(given.text)) return given;
  throw badAnswer(`${quoted(config)} is no configuration of a kernel`, [
    'No line of it gives an option a value.',
  ]);
}

/** @param asked what `--arch` says, if it is there; a given configuration has to be one for it */
function architectureFor(given: GivenConfig | undefined, asked: string | undefined): string {
  const sourceArch = given && configArchitecture(given.text);
  if (!given || sourceArch === undefined) return asked ?? 'x86_64';
  const fits = sourceArch === 'x86' ? x86Machines(given) : [architectureNamed(sourceArch)];
  const [arch] = fits;
  const origin = quoted(given.origin);
  if (arch === undefined)
    throw badAnswer(`${origin} is a configuration for ${sourceArch}`, [
      `A spec may be for ${architectures.join(', ')}.`,
    ]);
  if (asked === undefined) return arch;
  if (fits.some((one) => one === (architectureNamed(asked) ?? asked))) return asked;
  throw badAnswer(`${origin} is a configuration for ${arch}, and --arch says ${quoted(asked)}`, [
    'Options of another architecture would be dropped: leave --arch out, or take a configuration for it.',
  ]);
}

/** The one folder that holds two; a configuration that says nothing of it is for either. */
function x86Machines({ text }: GivenConfig): readonly Architecture[] {
  const options = readDotConfig(text);
  if (options.get('X86_32') === 'y') return ['i386'];
  return options.get('X86_64') === 'y' ? ['x86_64'] : ['x86_64', 'i386'];
}

/** The series where Debian has its source, else the version without what a builder has appended to it. */
function versionFrom(given: GivenConfig | undefined): string | undefined {
  const [exact, series] = /^(\d+\.\d+)(?:\.\d+)?/u.exec((given && versionInHeading(given.text)) ?? '') ?? [];
  return debianReleases.some((one) => seriesOf[one] === series) ? series : exact;
}

/** Those that name a key which only whoever made the configuration has. */
function optionsOfForeignKeys({ text }: GivenConfig): readonly string[] {
  return keyFiles(text)
    .filter(({ generated }) => !generated)
    .map(({ option }) => option);
}

function assertAnswers(answers: readonly (readonly [what: string, value: string, grammar: Grammar])[]): void {
  const wrong = answers.filter(([, value, { pattern }]) => !pattern.test(value));
  if (wrong.length === 0) return;
  throw new Failure(
    wrong.flatMap(
      ([what, value, { rule }]) => badAnswer(`${what} cannot be ${quoted(value)}`, [`${rule}.`]).diagnostics,
    ),
  );
}

function badAnswer(message: string, notes: readonly string[]): Failure {
  return new Failure(
    commandCodes.report('command/bad-answer', { message, notes, help: '`quern new --help` has examples.' }),
  );
}

/** Nobody's work is written over, and not half of a spec is left when one of its files is there already. */
async function assertNew(host: Host, paths: readonly string[]): Promise<void> {
  for (const path of paths) {
    if (!(await exists(resolve(host.cwd, path)))) continue;
    throw new Failure(
      commandCodes.report('command/spec-exists', {
        message: `${quoted(path)} is there already`,
        help: 'Give the new spec another name, or another folder with -o; nothing was written.',
      }),
    );
  }
}
