import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { minimumVersionScript, oldTools, type OldTool } from '../environment/minimum-versions.ts';
import { readDotConfig } from '../kconfig/dot-config.ts';
import type { Spec } from '../spec/spec.ts';
import { commandCodes } from './codes.ts';
import type { SpecConfig } from './spec-tree.ts';

/** Says by the tree's own numbers which tools of the environment are too old for it. */
export function examineToolchain(
  spec: Spec,
  { pack, tree, text, verdicts }: Pick<SpecConfig, 'pack' | 'tree' | 'text' | 'verdicts'>,
): readonly Diagnostic[] {
  const script = pack.pack.read(minimumVersionScript);
  if (script === undefined) return [];
  const variables = { ARCH: spec.arch, SRCARCH: tree.make.sourceArch };
  // where it is too old the option is dropped: that it was asked for counts as well
  const wanted = verdicts.some(({ option, requested }) => option === 'RUST' && requested === 'y');
  const rust = wanted || readDotConfig(text).get('RUST') === 'y';
  const version = tree.make.kernelVersion;
  return oldTools(script, variables, spec.environment, rust).map((one) => explain(one, spec, version));
}

const names: Readonly<Record<OldTool['tool'], string>> = {
  binutils: 'the binutils',
  bindgen: 'bindgen',
  gcc: 'gcc',
  llvm: 'clang',
  rustc: 'rustc',
};

function explain(
  { tool, has, needs, releases }: OldTool,
  { environment }: Spec,
  version: string,
): Diagnostic {
  const asked = tool === 'llvm' ? environment.llvm : tool === 'gcc' ? environment.gcc : undefined;
  const where = asked === undefined ? `Debian ${environment.debian} has ${has}` : `the spec asks for ${has}`;
  const fitting = releases.join(' and ');
  return commandCodes.report('command/tool-too-old', {
    message: `Linux ${version} takes ${names[tool]} from ${needs} on, and ${where}`,
    notes: [`The tree says so itself, in ${minimumVersionScript}.`],
    help:
      asked !== undefined
        ? `Ask for a newer one (environment.${tool}), or take another kernel.`
        : fitting === ''
          ? 'No release of Debian that is known here has it: take another kernel.'
          : `Take a newer release (environment.debian: ${releases[0] ?? ''}): it is new enough in ${fitting}.`,
  });
}
