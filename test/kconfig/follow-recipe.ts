import { readFileSync } from 'node:fs';
import { join } from 'node:path';

import { baseRecipe, type BaseRecipe } from '../../src/kconfig/base-recipe.ts';
import { treeOnDisk } from '../../src/source/tree-on-disk.ts';
import type { KconfigProgram } from '../oracle/kconfig-program.ts';

/** The recipe for a target in the tree of a program. */
export function recipeFor(program: KconfigProgram, target: string): BaseRecipe | undefined {
  const { SRCARCH: sourceArch = '', KBUILD_DEFCONFIG: defconfig = 'defconfig' } = program.environment;
  return baseRecipe(treeOnDisk(program.tree.folder), { target, sourceArch, defconfig });
}

/** What the kernel's own program makes of a recipe, step by step. */
export async function followRecipe(program: KconfigProgram, { start, steps }: BaseRecipe): Promise<string> {
  const read = (path: string): string => readFileSync(join(program.tree.folder, path), 'latin1');
  let merged = '';
  let config = '';
  if (start.kind === 'config') merged = read(start.file);
  else if (start.kind === 'defconfig') {
    config = (await program.run({ mode: 'defconfig', defconfig: read(start.file) })).config;
  } else {
    const preset = start.preset === undefined ? {} : { preset: read(start.preset) };
    config = (await program.run({ mode: start.mode, ...preset })).config;
  }
  for (const { fragments, whereRequired } of steps) {
    const reference = config;
    const wanted = fragments.map(read).filter((text) => !whereRequired || suits(text, reference));
    merged = wanted.reduce(merge, whereRequired || config === '' ? merged : config);
    config = (await program.run({ mode: 'olddefconfig', config: merged })).config;
  }
  return config;
}

/** `merge_config.sh -m`: the lines of an option go, the fragment comes behind. */
function merge(config: string, fragment: string): string {
  const names = new Set(
    [...fragment.matchAll(/^(?:# )?CONFIG_(\w+)(?:=| is not set)/gm)].map(([, name]) => name),
  );
  const kept = config
    .split('\n')
    .filter((line) => !names.has(/^(?:# )?CONFIG_(\w+)[ =]/.exec(line)?.[1] ?? ''))
    .join('\n');
  return `${kept.replace(/\n?$/, '\n')}${fragment}`;
}

function suits(fragment: string, config: string): boolean {
  const lines = new Set(config.split('\n'));
  return [...fragment.matchAll(/^# require (CONFIG_\w+)=([yn])$/gm)].every(
    ([, name = '', value]) => lines.has(`${name}=y`) === (value === 'y'),
  );
}
