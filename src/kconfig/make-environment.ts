/**
 * What the kernel's Makefile exports to the Kconfig program and to the commands that this runs: `ARCH`, `CC`,
 * `CC_VERSION_TEXT`, `srctree` and what else a tree has. It is read from the Makefiles of the tree, so that whatever
 * they do in one release and no longer in the next is done here too.
 */
import { MakeValues } from './make-values.ts';
import type { Probes } from './probes.ts';
import type { TreeFiles } from './tree-files.ts';

export interface MakeRequest {
  /** As on make's command line: `x86_64`, `i386`, `arm64` … */
  readonly arch: string;
  /** `CROSS_COMPILE`: what names of the compiler and the binutils begin with. */
  readonly crossCompile?: string | undefined;
  /** `LLVM=1`: clang and its tools in the place of gcc and the binutils. */
  readonly llvm?: boolean | undefined;
}

export interface MakeEnvironment {
  /** Name to value of the exported variables that matter for a configuration, as far as they are known. */
  readonly variables: Readonly<Record<string, string>>;
  /** Folder of the architecture below `arch/`. */
  readonly sourceArch: string;
  /** `6.1.192` */
  readonly kernelVersion: string;
  /** Name of the architecture's usual configuration: `x86_64_defconfig`, or `defconfig` when its Makefile names none. */
  readonly defconfig: string;
  /** Commands without an answer that the wanted variables hang on. */
  readonly missing: readonly string[];
  /** Commands whose answer was used. */
  readonly asked: readonly string[];
}

/**
 * The tree is where the commands run: `srctree` is `.`, and so no command and no answer says where that is. This stands
 * in for it where a Makefile takes an absolute path; no Kconfig file and no script that one runs ever sees that.
 */
const folder = '/build/linux';

/** What of the environment programs look at that Kconfig files do not name: locale, and rustc's permission. */
const readByPrograms = ['LC_COLLATE', 'LC_NUMERIC', 'RUSTC_BOOTSTRAP'];

/** Long lists of flags and folders, many of them found out by running the compiler: none is looked at for a configuration. */
const forTheBuild = /FLAGS|INCLUDE|IGNORE|^KBUILD_(?!DEFCONFIG)/;

/** Variables that Kconfig files of 5.10 to 7.3 expand, `$(NAME)`, and do not assign themselves. */
export const kconfigVariables: ReadonlySet<string> = new Set([
  'AR',
  'ARCH',
  'BINDGEN',
  'CC',
  'CC_VERSION_TEXT',
  'CLANG_FLAGS',
  'CROSS_COMPILE_COMPAT',
  'HEADER_ARCH',
  'KBUILD_DEFCONFIG',
  'KERNELVERSION',
  'LD',
  'NM',
  'OBJCOPY',
  'PAHOLE',
  'PAHOLE_VERSION',
  'PYTHON3',
  'RUSTC',
  'RUSTC_VERSION_TEXT',
  'SRCARCH',
  'SUBARCH',
  'USERCFLAGS',
  'USERLDFLAGS',
  'srctree',
]);

/**
 * @param files of the (patched) tree
 * @param probes answers to the `$(shell …)` of Makefiles: the compiler's version, above all
 * @param wanted variables whose missing answers are told; those of other variables are no matter
 */
export function makeEnvironment(
  files: TreeFiles,
  request: MakeRequest,
  probes: Probes,
  wanted: ReadonlySet<string> = kconfigVariables,
): MakeEnvironment {
  const overrides = new Map([['ARCH', request.arch]]);
  if (request.crossCompile !== undefined) overrides.set('CROSS_COMPILE', request.crossCompile);
  if (request.llvm) for (const name of ['LLVM', 'LLVM_IAS']) overrides.set(name, '1');
  const values = new MakeValues(
    {
      files,
      probes,
      overrides,
      defaults: new Map([
        ['CURDIR', folder],
        ['MAKEFILE_LIST', 'Makefile'],
        ['MAKEFLAGS', 'rR --no-print-directory'],
        ['MAKECMDGOALS', 'olddefconfig'],
        ['MAKE_VERSION', '4.3'],
        ['.FEATURES', 'target-specific order-only else-if undefine output-sync'],
        ['MAKE', 'make'],
        // what is not in the file or given is empty, and exported so
        ['CROSS_COMPILE', ''],
      ]),
    },
    'Makefile',
  );
  const exported = values.exported();
  const seen = [...wanted, ...readByPrograms].filter((name) => exported.has(name));
  for (const name of [...seen, ...fromFacts]) values.value(name);
  const missing = [...values.missing];
  const asked = [...values.asked];
  // scripts/kconfig/Makefile: what the architecture leaves open
  const defconfig = values.value('KBUILD_DEFCONFIG') || 'defconfig';
  const variables: Record<string, string> = {};
  for (const name of [...exported].sort()) {
    if (!wanted.has(name) && forTheBuild.test(name)) continue;
    const value = name === 'KBUILD_DEFCONFIG' ? defconfig : values.value(name);
    if (value !== undefined) variables[name] = value;
  }
  return {
    variables,
    sourceArch: values.value('SRCARCH') ?? request.arch,
    kernelVersion: values.value('KERNELVERSION') ?? '',
    defconfig,
    missing,
    asked,
  };
}

const fromFacts = ['SRCARCH', 'KERNELVERSION', 'KBUILD_DEFCONFIG'];
