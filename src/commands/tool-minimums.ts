import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { fittingAdvice, toolText } from '../environment/fitting-versions.ts';
import {
  isAtLeast,
  oldTools,
  readMinimums,
  type Minimum,
  type OldTool,
} from '../environment/minimum-versions.ts';
import { makeWords } from '../environment/toolchain.ts';
import { toolFacts, usedTools, type KnownEnvironment, type Tool } from '../environment/tools.ts';
import { makeEnvironment, type MakeEnvironment } from '../kconfig/make-environment.ts';
import type { TreeFiles } from '../kconfig/tree-files.ts';
import type { PackagePin } from '../spec/lock.ts';
import type { Spec } from '../spec/spec.ts';
import { commandCodes } from './codes.ts';

/** @param packages of the lock, as far as it goes with the spec */
export function knownEnvironment(
  { arch, environment }: Spec,
  packages: readonly PackagePin[],
): KnownEnvironment {
  return {
    request: { arch, ...environment },
    packages: new Map(packages.map(({ package: name, version }) => [name, version])),
  };
}

/** What the tree wants its tools to be at least. */
export function minimumsOf(
  { arch }: Spec,
  files: TreeFiles,
  { sourceArch }: Pick<MakeEnvironment, 'sourceArch'>,
): ReadonlyMap<Tool, Minimum> {
  return readMinimums((path) => files.read(path), { ARCH: arch, SRCARCH: sourceArch });
}

/**
 * Compilers and binutils that the tree refuses: in trees since 5.12 its Kconfig files stop at once with such a one, and say
 * neither which version it is nor which they want.
 */
export function refusedCompilers(
  spec: Spec,
  files: TreeFiles,
  environment: KnownEnvironment,
): readonly Diagnostic[] {
  const make = makeEnvironment(files, makeWords(spec), { answer: () => undefined });
  return oldTools(minimumsOf(spec, files, make), usedTools(environment.request, []), environment)
    .filter(({ needs }) => needs.enforced)
    .map((one) => explainOld(one, environment, make.kernelVersion, true));
}

/** @param rust somebody asked for Rust, and not the base alone */
export function explainOld(
  { tool, needs }: OldTool,
  environment: KnownEnvironment,
  version: string,
  rust: boolean,
): Diagnostic {
  const { name } = toolFacts[tool];
  const help = fittingAdvice(tool, environment, (one) => isAtLeast(one, needs.version));
  const where = toolText(tool, environment);
  if ((tool === 'rustc' || tool === 'bindgen') && !rust) {
    return commandCodes.report('command/rust-lost', {
      message: `the base has RUST on, which is lost: Linux ${version} takes ${name} from ${needs.version} on, and ${where}`,
      notes: [saidAt(needs)],
      help,
    });
  }
  return commandCodes.report(needs.enforced ? 'command/tool-too-old' : 'command/tool-below-listed', {
    message: `Linux ${version} takes ${name} from ${needs.version} on, and ${where}`,
    notes: [
      saidAt(needs),
      ...(needs.enforced
        ? []
        : ['That is its list of programs; whether a build stops for an older one is not said there.']),
    ],
    help,
  });
}

function saidAt({ file, line }: Minimum): string {
  return `The tree says so itself, in ${file}:${line}.`;
}
