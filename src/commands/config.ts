import { resolve } from 'node:path';

import { exitOf } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import { writeNamed } from '../host/output-folder.ts';
import { encodeLatin1 } from '../kconfig/latin1.ts';
import { explainOverrides } from '../kconfig/requests.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { foldedCase } from '../source/folded-case.ts';
import { kernelOnDisk, packOfTree } from '../source/tree-on-disk.ts';
import type { CommandResult } from './command.ts';
import { configureTree, type TreeConfig } from './configure-tree.ts';
import { explainVerdicts } from './explain-verdicts.ts';
import { readGivenConfig } from './given-config.ts';
import type { ConfigOptions, SpecConfigOptions, TreeConfigOptions } from './options.ts';
import type { Asked } from './requests.ts';
import { readAnsweredTree } from './tree-answers.ts';

export interface ConfigValue {
  readonly verdicts: readonly Verdict[];
  /** The `.config`, in latin1; absent when it went into a file. */
  readonly config?: string;
}

/** `quern config`: writes the configuration that a spec, or a base with options laid over it, comes to. */
export async function config(options: ConfigOptions, host: Host): Promise<CommandResult<ConfigValue>> {
  const made =
    options.spec === undefined ? await configureFolder(options, host) : await configureOpened(options, host);
  const diagnostics = [...made.diagnostics, ...explainVerdicts(made.verdicts, made.asked)];
  const { output } = options;
  if (output !== undefined) {
    const readFrom = made.readFrom.map((path) => resolve(host.cwd, path));
    await writeNamed(resolve(host.cwd, output), encodeLatin1(made.text), readFrom);
  }
  return {
    exit: exitOf(diagnostics),
    diagnostics,
    value: { verdicts: made.verdicts, ...(output === undefined && { config: made.text }) },
    text: output === undefined ? made.text : `written to ${output}`,
    sources: made.sources,
  };
}

interface Made extends TreeConfig {
  /** What the spec asks for, if there is one. */
  readonly asked?: Asked;
  readonly sources: ReadonlyMap<string, string>;
  /** The files that it was made of. */
  readonly readFrom: readonly string[];
}

async function configureOpened(options: SpecConfigOptions, host: Host): Promise<Made> {
  // What reads a spec is left where there is none.
  const { configureSpecFile } = await import('./spec-tree.ts');
  const { made, diagnostics, sources, readFrom } = await configureSpecFile(options, host);
  return { ...made, diagnostics, sources, readFrom };
}

async function configureFolder(options: TreeConfigOptions, host: Host): Promise<Made> {
  const folder = resolve(host.cwd, options.tree);
  const files = kernelOnDisk(folder);
  const source = { files, pack: () => packOfTree(host, folder) };
  const { tree, diagnostics } = await readAnsweredTree(host, source, { arch: options.arch }, options);
  const base =
    options.base === undefined
      ? ({ kind: 'target', target: 'defconfig' } as const)
      : await readBase(options.base, host);
  const requests = options.set.map(({ option, value }) => ({ option, value, origin: { file: '--set' } }));
  const made = configureTree({ files, tree, base, requests });
  const sources = new Map(base.kind === 'file' ? [[base.file, base.text] as const] : []);
  return {
    ...made,
    diagnostics: [
      ...(await foldedCase(folder)),
      ...diagnostics,
      ...explainOverrides(requests),
      ...made.diagnostics,
    ],
    sources,
    readFrom: [...sources.keys(), ...(options.probes === undefined ? [] : [options.probes])],
  };
}

/** A file when there is one of that name, otherwise a target of make. */
async function readBase(
  base: string,
  host: Host,
): Promise<
  | { readonly kind: 'target'; readonly target: string }
  | { readonly kind: 'file'; readonly file: string; readonly text: string }
> {
  try {
    const { text } = await readGivenConfig(host, base);
    return { kind: 'file', file: base, text };
  } catch (error) {
    if (/^[a-z0-9_-]*config$/u.test(base)) return { kind: 'target', target: base };
    throw error;
  }
}
