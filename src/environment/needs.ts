/**
 * What a kernel is built with, package by package, and why each is there: what every build takes, what the spec takes, and
 * what its configuration takes. The Essential packages (a shell, coreutils, sed, grep, tar, gzip, awk, perl-base …) are
 * part of every environment and not named here.
 *
 * Sources: the kernel's Makefiles (top, certs, kernel, scripts, usr, tools/objtool, tools/bpf/resolve_btfids) of 5.10 to
 * 7.3; the table of programs in its Documentation/process/changes.rst; the Build-Depends of Debian's source package
 * `linux` as a cross-check.
 */
import type { OutputKind, Spec } from '../spec/spec.ts';
import { architectureFacts, type OptionOn } from './architectures.ts';
import { mergeNeeds, type Need } from './need.ts';
import { compilerVersion, toolchainNeeds } from './toolchain.ts';

/** What of a spec decides about packages. */
export type NeedyPart = Pick<Spec, 'arch' | 'environment' | 'kernel' | 'outputs' | 'patches'>;

/** What is known of the configuration. */
export interface KnownConfig {
  /** Options that the base or a request turns on, whatever becomes of them. */
  readonly asked: OptionOn;
  /** The options that are on in the resolved configuration; none before there is one. */
  readonly resolved: OptionOn;
  /** The build makes a key to sign modules with. */
  readonly makesKey: boolean;
}

const always: readonly Need[] = [
  { package: 'bc', because: 'kernel/time/timeconst.bc, which computes the constants of the timer frequency' },
  { package: 'bison', because: 'the parsers of Kconfig files, device trees and symbol versions' },
  { package: 'flex', because: 'the scanners of Kconfig files, device trees and symbol versions' },
  { package: 'libc6-dev', because: 'the programs that the build compiles for itself: fixdep, conf, modpost' },
  { package: 'make', because: 'the build itself' },
];

interface Rule {
  /** One of them is enough. */
  readonly options: readonly string[];
  readonly packages: (spec: NeedyPart) => readonly string[];
  readonly because: string;
  /**
   * The tree asks whether the program is there, and offers the option only then: it must be there before the
   * configuration is worked out, for whoever asks for the option.
   */
  readonly probed?: true;
}

const named =
  (...packages: string[]) =>
  (): readonly string[] =>
    packages;

/** The headers of the compiler, which come with it version by version. */
function pluginHeaders({ arch, environment }: NeedyPart): readonly string[] {
  // plugins are those of gcc
  if (environment.llvm !== undefined) return [];
  const headers = `gcc-${compilerVersion(environment)}-plugin-dev`;
  const { cross } = architectureFacts(arch).build ?? {};
  return ['g++', cross === undefined ? headers : `${headers}-${cross}`];
}

/** bindgen loads libclang, on which its package does not depend. */
function rustTools({ environment: { llvm } }: NeedyPart): readonly string[] {
  return ['rustc', 'rust-src', 'bindgen', llvm === undefined ? 'libclang-dev' : `libclang-${llvm}-dev`];
}

const rules: readonly Rule[] = [
  {
    options: ['DEBUG_INFO_BTF'],
    packages: named('dwarves'),
    because: 'pahole turns debug information into type information',
    probed: true,
  },
  {
    options: ['DEBUG_INFO_BTF'],
    packages: named('libelf-dev'),
    because: 'resolve_btfids, which writes numbers of types into the kernel',
  },
  {
    options: ['DEBUG_INFO_BTF'],
    packages: named('python3'),
    because: 'the script that writes declarations for libbpf, which resolve_btfids is made with',
  },
  {
    options: ['OBJTOOL', 'STACK_VALIDATION'],
    packages: named('libelf-dev'),
    because: 'objtool, which reads and rewrites every object file',
  },
  {
    options: ['GENDWARFKSYMS'],
    packages: named('libdw-dev', 'libelf-dev'),
    because: 'gendwarfksyms, which computes symbol versions from debug information',
  },
  {
    options: [
      'GCC_PLUGINS',
      'GCC_PLUGIN_LATENT_ENTROPY',
      'GCC_PLUGIN_RANDSTRUCT',
      'GCC_PLUGIN_STACKLEAK',
      'GCC_PLUGIN_STRUCTLEAK_BYREF_ALL',
      'RANDSTRUCT_FULL',
      'RANDSTRUCT_PERFORMANCE',
    ],
    packages: pluginHeaders,
    because: 'plugins of the compiler, which are made with its headers and in C++',
    probed: true,
  },
  {
    options: ['RUST'],
    packages: rustTools,
    because: 'the compiler for Rust, its core library as source, and bindings to C, which clang reads',
    probed: true,
  },
  {
    options: ['MODULE_SIG_FORMAT'],
    packages: named('libssl-dev'),
    because: 'sign-file, which signs modules',
  },
  {
    options: ['SYSTEM_TRUSTED_KEYRING', 'SYSTEM_REVOCATION_LIST'],
    packages: named('libssl-dev'),
    because: 'extract-cert, which reads certificates',
  },
  { options: ['KERNEL_BZIP2'], packages: named('bzip2'), because: 'packs the kernel' },
  { options: ['KERNEL_LZ4'], packages: named('lz4'), because: 'packs the kernel' },
  { options: ['KERNEL_LZO'], packages: named('lzop'), because: 'packs the kernel' },
  { options: ['KERNEL_LZMA', 'KERNEL_XZ'], packages: named('xz-utils'), because: 'packs the kernel' },
  { options: ['KERNEL_ZSTD'], packages: named('zstd'), because: 'packs the kernel' },
  {
    options: ['INITRAMFS_COMPRESSION_BZIP2'],
    packages: named('bzip2'),
    because: 'packs the initramfs built into the kernel',
  },
  {
    options: ['INITRAMFS_COMPRESSION_LZ4'],
    packages: named('lz4'),
    because: 'packs the initramfs built into the kernel',
  },
  {
    options: ['INITRAMFS_COMPRESSION_LZO'],
    packages: named('lzop'),
    because: 'packs the initramfs built into the kernel',
  },
  {
    options: ['INITRAMFS_COMPRESSION_LZMA', 'INITRAMFS_COMPRESSION_XZ'],
    packages: named('xz-utils'),
    because: 'packs the initramfs built into the kernel',
  },
  {
    options: ['INITRAMFS_COMPRESSION_ZSTD'],
    packages: named('zstd'),
    because: 'packs the initramfs built into the kernel',
  },
  { options: ['MODULE_COMPRESS_XZ'], packages: named('xz-utils'), because: 'packs the modules' },
  { options: ['MODULE_COMPRESS_ZSTD'], packages: named('zstd'), because: 'packs the modules' },
  {
    options: ['IKHEADERS'],
    packages: named('cpio', 'xz-utils'),
    because: 'kernel/gen_kheaders.sh, which collects and packs the headers',
  },
  {
    options: ['LTO_CLANG', 'DRM_MSM'],
    packages: named('python3'),
    because: 'a script of the build in Python',
  },
];

/** What the spec itself takes, whatever the configuration is. */
function specNeeds({ kernel, patches, outputs }: NeedyPart, modules: boolean): readonly Need[] {
  const { source } = kernel;
  const wants = (...kinds: readonly OutputKind[]): boolean => kinds.some((kind) => outputs.includes(kind));
  return [
    ...(source.kind === 'tree' ? [] : [{ package: 'xz-utils', because: 'the source, which comes packed' }]),
    ...(source.kind === 'tarball' && /\.t?bz2?$/u.test(source.path)
      ? [{ package: 'bzip2', because: 'the source, which comes packed' }]
      : []),
    ...(patches.length > 0 ? [{ package: 'patch', because: 'the patches of the spec' }] : []),
    ...(modules && wants('modules', 'deb')
      ? [{ package: 'kmod', because: 'MODULES: depmod, with which the modules are installed' }]
      : []),
    ...(modules && wants('modules')
      ? [{ package: 'xz-utils', because: 'MODULES: the archive of the modules' }]
      : []),
    ...(wants('dtbs', 'headers', 'extmod-build', 'debug', 'deb')
      ? [{ package: 'xz-utils', because: 'the archives and packages among the outputs' }]
      : []),
  ];
}

/**
 * The packages that a kernel is built with, each once, with all reasons; sorted by name.
 *
 * What the tree asks for is decided by what is asked of it alone (`probed`), so that the set does not hang on a
 * configuration that hangs on it; all else no answer hangs on.
 */
export function environmentNeeds(
  spec: NeedyPart,
  { asked, resolved: on, makesKey }: KnownConfig,
): readonly Need[] {
  const applied = rules.flatMap(({ options, packages, because, probed }) => {
    const option = options.find((one) => on(one) || (probed && asked(one)));
    return option === undefined
      ? []
      : packages(spec).map((name) => ({ package: name, because: `${option}: ${because}` }));
  });
  return mergeNeeds([
    ...always,
    ...toolchainNeeds({ arch: spec.arch, ...spec.environment }),
    ...specNeeds(spec, on('MODULES')),
    ...applied,
    ...(makesKey
      ? [{ package: 'openssl', because: 'MODULE_SIG_KEY: the key that is made when none is given' }]
      : []),
  ]);
}
