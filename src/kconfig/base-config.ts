import type { BaseRecipe } from './base-recipe.ts';
import { configure } from './configure.ts';
import { optionOfConfigLine } from './dot-config.ts';
import type { Model } from './model.ts';
import type { TreeFiles } from './tree-files.ts';

/**
 * The configuration that a target of make writes: what its recipe says, step by step.
 *
 * @param files the tree that the recipe was found in
 * @returns the `.config`, in latin1; `undefined` when the tree lacks a file that the recipe names
 */
export function baseConfig(model: Model, files: TreeFiles, { start, steps }: BaseRecipe): string | undefined {
  let config: string | undefined;
  // What was merged so far, before it was brought up to date.
  let merged = '';
  if (start.kind === 'all') {
    const preset = start.preset === undefined ? undefined : files.read(start.preset);
    if (start.preset !== undefined && preset === undefined) return undefined;
    config = configure(model, start.mode, preset).text;
  } else {
    const text = files.read(start.file);
    if (text === undefined) return undefined;
    if (start.kind === 'config') merged = text;
    else config = configure(model, 'defconfig', text).text;
  }
  for (const { fragments, whereRequired } of steps) {
    if (!whereRequired && config !== undefined) merged = config;
    for (const path of fragments) {
      const fragment = files.read(path);
      if (fragment === undefined) return undefined;
      if (!whereRequired || suits(fragment, config ?? '')) merged = mergeFragment(merged, fragment);
    }
    config = configure(model, 'olddefconfig', merged).text;
  }
  return config ?? configure(model, 'olddefconfig', merged).text;
}

/** As scripts/kconfig/merge_config.sh does: what the fragment speaks of goes, then the whole fragment is appended. */
export function mergeFragment(config: string, fragment: string): string {
  const options = new Set(fragment.split('\n').map(optionOfConfigLine));
  options.delete(undefined);
  const kept = config.split('\n').filter((line) => !options.has(optionOfConfigLine(line)));
  return `${kept.join('\n')}\n${fragment}`;
}

/** Whether the lines `# require CONFIG_X=y` of a fragment hold in a configuration; `=n` is for what is not y. */
function suits(fragment: string, config: string): boolean {
  const lines = new Set(config.split('\n'));
  return [...fragment.matchAll(/^# require (CONFIG_\w+)=([yn])$/gm)].every(
    ([, name = '', value]) => lines.has(`${name}=y`) === (value === 'y'),
  );
}
