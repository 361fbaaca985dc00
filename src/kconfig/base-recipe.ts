/**
 * What a configuration target of make does, as data: `defconfig`, a named one, `tinyconfig` and its like, and those that
 * an architecture's Makefile puts together out of fragments.
 *
 * Sources: scripts/kconfig/Makefile, scripts/Makefile.defconf and arch/ARCH/Makefile of the tree.
 */
import type { ListedFiles, TreeFiles } from './tree-files.ts';

export type AllMode = 'allnoconfig' | 'allyesconfig' | 'allmodconfig' | 'alldefconfig';

export type BaseStart =
  /** `conf --defconfig=FILE` */
  | { readonly kind: 'defconfig'; readonly file: string }
  /** The file as it is. */
  | { readonly kind: 'config'; readonly file: string }
  /** `conf --MODE`, with `KCONFIG_ALLCONFIG` when there is a preset. */
  | { readonly kind: 'all'; readonly mode: AllMode; readonly preset: string | undefined };

/** Fragments that are merged as scripts/kconfig/merge_config.sh does, and `olddefconfig` behind them. */
export interface BaseStep {
  readonly fragments: readonly string[];
  /**
   * A fragment counts only where its lines `# require CONFIG_X=y` hold in the configuration of the step before (`=n`: is
   * not y). Such a step goes on from what that step merged, not from what `olddefconfig` made of it.
   */
  readonly whereRequired: boolean;
}

export interface BaseRecipe {
  readonly start: BaseStart;
  readonly steps: readonly BaseStep[];
}

export interface BaseRequest {
  /** `defconfig`, `tinyconfig`, `x86_64_defconfig` … */
  readonly target: string;
  /** Folder of the architecture below `arch/`. */
  readonly sourceArch: string;
  /** Name of the architecture's usual configuration (`makeEnvironment`). */
  readonly defconfig: string;
}

const allModes: readonly AllMode[] = ['allnoconfig', 'allyesconfig', 'allmodconfig', 'alldefconfig'];
/** Targets that lead to each other; no tree has more than three. */
const mostAliases = 6;

/** @returns `undefined` when the tree has no such target */
export function baseRecipe(files: ListedFiles, request: BaseRequest): BaseRecipe | undefined {
  return resolve(files, request, request.target, mostAliases);
}

function resolve(
  files: ListedFiles,
  request: BaseRequest,
  target: string,
  left: number,
): BaseRecipe | undefined {
  if (left === 0) return undefined;
  const { sourceArch, defconfig } = request;
  const folder = `arch/${sourceArch}/configs`;
  const follow = (other: string): BaseRecipe | undefined => resolve(files, request, other, left - 1);
  const mode = allModes.find((one) => one === target);
  if (mode) return { start: { kind: 'all', mode, preset: undefined }, steps: [] };
  if (target === 'tinyconfig') return tinyRecipe(files, sourceArch);
  if (target === 'defconfig' && files.read(`${folder}/${defconfig}`) === undefined) {
    return defconfig === 'defconfig' ? undefined : follow(defconfig);
  }
  const rule = ruleOf(files, sourceArch, target);
  if (rule) return followRule(files, sourceArch, rule, follow);
  const generic = genericRecipe(files, sourceArch, target);
  if (generic) return generic;
  const file = `${folder}/${target === 'defconfig' ? defconfig : target}`;
  if (!/(?:^|_)defconfig$/.test(target) || files.read(file) === undefined) return undefined;
  return { start: { kind: 'defconfig', file }, steps: [] };
}

function tinyRecipe(files: ListedFiles, sourceArch: string): BaseRecipe | undefined {
  const makefile = files.read('scripts/kconfig/Makefile') ?? '';
  const preset = /KCONFIG_ALLCONFIG=(\S*tiny-base\.config)/.exec(makefile)?.[1];
  const step = fragmentStep(files, sourceArch, 'tiny.config');
  return step && { start: { kind: 'all', mode: 'allnoconfig', preset }, steps: [step] };
}

/** Where the fragments of a tree lie, the general ones first. */
export function fragmentFolders(sourceArch: string): readonly string[] {
  return ['kernel/configs', `arch/${sourceArch}/configs`];
}

/** What `make NAME.config` merges: the general fragment, then the architecture's; empty when the tree has neither. */
export function treeFragments(files: TreeFiles, sourceArch: string, name: string): readonly string[] {
  return fragmentFolders(sourceArch)
    .map((folder) => `${folder}/${name}`)
    .filter((path) => files.read(path) !== undefined);
}

function fragmentStep(files: ListedFiles, sourceArch: string, name: string): BaseStep | undefined {
  const fragments = treeFragments(files, sourceArch, name);
  return fragments.length === 0 ? undefined : { fragments, whereRequired: false };
}

interface Rule {
  readonly needs: string;
  readonly recipe: string;
}

/** The rule of the architecture's Makefile that makes a target. */
function ruleOf(files: ListedFiles, sourceArch: string, target: string): Rule | undefined {
  const makefile = (files.read(`arch/${sourceArch}/Makefile`) ?? '').replaceAll(/[ \t]*\\\n[ \t]*/g, ' ');
  const name = target.replaceAll(/[^A-Za-z0-9_-]/g, '');
  if (name !== target) return undefined;
  const found = new RegExp(`^${name}:(?!=)[ \\t]*(.*)\\n((?:\\t.*(?:\\n|$))*)`, 'm').exec(makefile);
  return found ? { needs: (found[1] ?? '').trim(), recipe: found[2] ?? '' } : undefined;
}

function followRule(
  files: ListedFiles,
  sourceArch: string,
  { needs, recipe }: Rule,
  follow: (target: string) => BaseRecipe | undefined,
): BaseRecipe | undefined {
  const folder = `arch/${sourceArch}/configs`;
  if (recipe === '') return /^\w+$/.test(needs) ? follow(needs) : undefined;
  const merged = /\$\(call merge_into_defconfig(?:_override)?,\s*([^,)\s]+)\s*,([^)]*)\)/.exec(recipe);
  if (merged) {
    const fragments = (merged[2] ?? '').split(/\s+/).filter(Boolean);
    return {
      start: { kind: 'config', file: `${folder}/${merged[1] ?? ''}` },
      steps: [{ fragments: fragments.map((one) => `${folder}/${one}.config`), whereRequired: false }],
    };
  }
  const made =
    /\$\(MAKE\)(?: KCONFIG_ALLCONFIG=\$\(srctree\)\/(\S+))? -f \$\(srctree\)\/Makefile ([\w. -]+)/.exec(
      recipe,
    );
  const [first = '', ...others] = (made?.[2] ?? '').trim().split(/\s+/);
  const start = first === '' ? undefined : follow(first);
  if (!start) return undefined;
  const preset = made?.[1];
  if (preset !== undefined) {
    if (start.start.kind !== 'all') return undefined;
    return { start: { ...start.start, preset }, steps: start.steps };
  }
  const steps = others.map((name) => fragmentStep(files, sourceArch, name));
  return steps.includes(undefined)
    ? undefined
    : { start: start.start, steps: [...start.steps, ...steps.flatMap((one) => one ?? [])] };
}

/**
 * MIPS makes a family of configurations from one base: word size and revision, endianness, and all boards that the
 * result suits (`gen_generic_defconfigs` in its Makefile, tools/generic-board-config.sh).
 */
function genericRecipe(files: ListedFiles, sourceArch: string, target: string): BaseRecipe | undefined {
  const makefile = files.read(`arch/${sourceArch}/Makefile`) ?? '';
  if (!makefile.includes('define gen_generic_defconfigs')) return undefined;
  const [, legacy = target, board] =
    new RegExp(`^${target.replaceAll(/\W/g, '')}-y[ \\t]*:=[ \\t]*(\\w+)(?:[ \\t]+BOARDS=(\\S+))?`, 'm').exec(
      makefile,
    ) ?? [];
  const [, isa, little] = /^(?:(\w+?r\d))(el)?_defconfig$/.exec(legacy) ?? [];
  if (isa === undefined) return undefined;
  const folder = `arch/${sourceArch}/configs`;
  const fragments = [`${folder}/generic/${isa}.config`, `${folder}/generic/${little ?? 'eb'}.config`];
  if (fragments.some((path) => files.read(path) === undefined)) return undefined;
  const boards = board === undefined ? boardsOf(files, sourceArch) : [board];
  return {
    start: { kind: 'config', file: `${folder}/generic_defconfig` },
    steps: [
      { fragments, whereRequired: false },
      {
        fragments: boards.map((one) => `${folder}/generic/board-${one}.config`),
        whereRequired: true,
      },
    ],
  };
}

/** As make's wildcard finds them: sorted. */
function boardsOf(files: ListedFiles, sourceArch: string): readonly string[] {
  return files
    .list(`arch/${sourceArch}/configs/generic`)
    .flatMap((name) => /^board-(.+)\.config$/.exec(name)?.[1] ?? [])
    .sort((a, b) => (`board-${a}.config` < `board-${b}.config` ? -1 : 1));
}
