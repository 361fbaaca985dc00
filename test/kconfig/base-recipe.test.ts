import { describe, expect, it } from 'vitest';

import { baseRecipe } from '../../src/kconfig/base-recipe.ts';
import type { ListedFiles } from '../../src/kconfig/tree-files.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kconfigProgram } from '../oracle/kconfig-program.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';
import { followRecipe, recipeFor } from './follow-recipe.ts';

it.for(['defconfig', 'i386_defconfig', 'tinyconfig', 'allnoconfig'])(
  'the recipe for %s gives what make writes, Linux 6.1 on x86_64',
  { timeout: 300_000 },
  async (target, context) => {
    const program = await orSkip(
      context,
      kernelTree('6.1').then((tree) => kconfigProgram(tree, 'x86_64')),
    );
    const recipe = recipeFor(program, target);
    if (!recipe) throw new Error('no recipe');
    expect(await followRecipe(program, recipe)).toBe(await program.make(target));
  },
);

const makefile = `KBUILD_DEFCONFIG := otter_defconfig
PHONY += weir_defconfig
weir_defconfig:
	$(call merge_into_defconfig,gate.config,\\
		one \\
		two)

quietconfig:
	$(call merge_into_defconfig_override,defconfig,virt)
alias_defconfig: weir_defconfig

otter32_allmodconfig:
	$(Q)$(MAKE) KCONFIG_ALLCONFIG=$(srctree)/arch/otter/configs/32.config \\
		-f $(srctree)/Makefile allmodconfig
rv32_defconfig:
	$(Q)$(MAKE) -f $(srctree)/Makefile defconfig 32.config
round_defconfig: square_defconfig
square_defconfig: round_defconfig
`;

function tree(names: readonly string[], more: Readonly<Record<string, string>> = {}): ListedFiles {
  const files: Readonly<Record<string, string>> = {
    'arch/otter/Makefile': makefile,
    ...Object.fromEntries(names.map((name) => [name, ''])),
    ...more,
  };
  return {
    read: (path) => files[path],
    list: (folder) =>
      Object.keys(files).flatMap((path) =>
        path.startsWith(`${folder}/`) ? [path.slice(folder.length + 1)] : [],
      ),
    paths: () => Object.keys(files),
  };
}

const recipe = (files: ListedFiles, target: string, defconfig = 'otter_defconfig'): unknown =>
  baseRecipe(files, { target, sourceArch: 'otter', defconfig });

describe('baseRecipe', () => {
  const configs = 'arch/otter/configs';
  it.each<[string, unknown]>([
    ['defconfig', { start: { kind: 'defconfig', file: `${configs}/otter_defconfig` }, steps: [] }],
    ['allyesconfig', { start: { kind: 'all', mode: 'allyesconfig' }, steps: [] }],
    [
      'weir_defconfig',
      {
        start: { kind: 'config', file: `${configs}/gate.config` },
        steps: [{ fragments: [`${configs}/one.config`, `${configs}/two.config`], whereRequired: false }],
      },
    ],
    [
      'quietconfig',
      {
        start: { kind: 'config', file: `${configs}/defconfig` },
        steps: [{ fragments: [`${configs}/virt.config`], whereRequired: false }],
      },
    ],
    ['alias_defconfig', { start: { kind: 'config', file: `${configs}/gate.config` } }],
    [
      'otter32_allmodconfig',
      { start: { kind: 'all', mode: 'allmodconfig', preset: `${configs}/32.config` }, steps: [] },
    ],
    [
      'rv32_defconfig',
      {
        start: { kind: 'defconfig', file: `${configs}/otter_defconfig` },
        steps: [{ fragments: ['kernel/configs/32.config', `${configs}/32.config`], whereRequired: false }],
      },
    ],
  ])('knows %s', (target, expected) => {
    const files = tree([`${configs}/otter_defconfig`, 'kernel/configs/32.config', `${configs}/32.config`]);
    expect(recipe(files, target)).toMatchObject(expected as object);
  });

  it('makes tinyconfig as the tree does: with a preset, or without', () => {
    const tiny = ['kernel/configs/tiny.config', `${configs}/tiny.config`];
    const steps = [{ fragments: tiny, whereRequired: false }];
    const old = tree(tiny, { 'scripts/kconfig/Makefile': '\t$(MAKE) allnoconfig tiny.config\n' });
    expect(recipe(old, 'tinyconfig')).toEqual({
      start: { kind: 'all', mode: 'allnoconfig', preset: undefined },
      steps,
    });
    const now = tree(tiny, {
      'scripts/kconfig/Makefile':
        '\t$(Q)KCONFIG_ALLCONFIG=kernel/configs/tiny-base.config $(MAKE) allnoconfig\n',
    });
    expect(recipe(now, 'tinyconfig')).toMatchObject({
      start: { preset: 'kernel/configs/tiny-base.config' },
      steps,
    });
  });

  it.each([
    'none_defconfig',
    'otter',
    'round_defconfig',
    '../../etc/defconfig',
    'tinyconfig',
    'weir.config',
    '.*',
  ])('knows no %s', (target) => {
    expect(recipe(tree([`${configs}/otter_defconfig`, `${configs}/otter`]), target)).toBeUndefined();
  });

  it('finds no defconfig where there is none', () => {
    expect(recipe(tree([]), 'defconfig', 'defconfig')).toBeUndefined();
    expect(recipe(tree([]), 'defconfig', 'none_defconfig')).toBeUndefined();
  });
});
