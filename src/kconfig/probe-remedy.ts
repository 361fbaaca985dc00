/**
 * What would change the answer of a probe: the knowledge that no Kconfig file holds. Names of packages are Debian's.
 *
 * Sources: the kernel's Documentation/process/changes.rst, Documentation/kbuild/gcc-plugins.rst,
 * Documentation/rust/quick-start.rst and Documentation/kbuild/llvm.rst; the scripts of the tree that the probes run.
 */
import type { Remedy } from './reason.ts';

const rust: Remedy = {
  advice:
    'rustc, bindgen, the sources of the Rust library and libclang are needed, in versions that fit the tree',
  packages: ['rustc', 'rust-src', 'bindgen', 'libclang-dev'],
};

/** Options that only say what the environment is: the remedy follows from the name alone. */
const byOption: ReadonlyMap<string, Remedy> = new Map<string, Remedy>([
  [
    'CC_IS_CLANG',
    {
      advice:
        'the kernel must be compiled with clang instead of gcc (`LLVM=1`): that is a matter of the environment, no option changes it',
      packages: ['clang', 'lld', 'llvm'],
      toolchain: 'clang',
    },
  ],
  [
    'CC_IS_GCC',
    {
      advice:
        'the kernel must be compiled with gcc: that is a matter of the environment, no option changes it',
      packages: ['gcc'],
      toolchain: 'gcc',
    },
  ],
  [
    'LD_IS_LLD',
    {
      advice:
        'the kernel must be linked with ld.lld: that is a matter of the environment, no option changes it',
      packages: ['lld'],
      toolchain: 'clang',
    },
  ],
  [
    'LD_IS_BFD',
    {
      advice:
        'the kernel must be linked with the GNU linker: that is a matter of the environment, no option changes it',
      packages: ['binutils'],
      toolchain: 'gcc',
    },
  ],
  [
    'AS_IS_LLVM',
    {
      advice: "clang's own assembler must be used: that is a matter of the environment, no option changes it",
      packages: ['clang'],
      toolchain: 'clang',
    },
  ],
  [
    'AS_IS_GNU',
    {
      advice: 'the GNU assembler must be used: that is a matter of the environment, no option changes it',
      packages: ['binutils'],
      toolchain: 'gcc',
    },
  ],
  ['GCC_VERSION', { advice: 'another version of gcc is needed', packages: ['gcc'] }],
  [
    'CLANG_VERSION',
    { advice: 'clang is needed, in a version that is new enough', packages: ['clang'], toolchain: 'clang' },
  ],
  ['LD_VERSION', { advice: 'another version of the GNU linker is needed', packages: ['binutils'] }],
  [
    'LLD_VERSION',
    { advice: 'ld.lld is needed, in a version that is new enough', packages: ['lld'], toolchain: 'clang' },
  ],
  ['AS_VERSION', { advice: 'another version of the assembler is needed', packages: ['binutils'] }],
  ['RUST_IS_AVAILABLE', rust],
]);

const pahole: Remedy = { advice: 'install pahole, or a newer version of it', packages: ['dwarves'] };
interface Rule {
  readonly pattern: RegExp;
  readonly remedy: (command: string, compiler: string) => Remedy;
}

const byCommand: readonly Rule[] = [
  {
    pattern: /^(?:SRC|SUB|HEADER_)?ARCH$/,
    remedy: () => ({
      advice: 'that follows from the architecture that the kernel is built for',
      packages: [],
    }),
  },
  {
    pattern: /gcc-plugin\.sh|print-file-name=plugin|plugin-version\.h|\/plugin\/include/,
    remedy: (_, compiler) => pluginHeaders(compiler),
  },
  { pattern: /pahole/i, remedy: () => pahole },
  { pattern: /rust|bindgen/i, remedy: () => rust },
  {
    pattern: /-fsanitize=(?:kcfi|cfi|shadow-call-stack)|-flto=thin|grep -qi llvm/,
    remedy: () => ({
      advice: 'the kernel must be compiled with clang instead of gcc (`LLVM=1`)',
      packages: ['clang', 'lld', 'llvm'],
      toolchain: 'clang',
    }),
  },
  {
    pattern: /cc-can-link|cc_can_link/,
    remedy: () => ({
      advice: 'the headers and the library of C for programs of that kind are needed',
      packages: ['libc6-dev'],
    }),
  },
  {
    pattern: /-x assembler|-Wa,|--fatal-warnings|as-version/,
    remedy: () => ({
      advice:
        'an assembler that knows the instruction or flag is needed: a newer release of the environment has one',
      packages: ['binutils'],
    }),
  },
  {
    pattern: /ld-version|(?:^|[ /-])ld(?:\.bfd|\.lld)? -v /,
    remedy: () => ({
      advice: 'a linker that knows the flag is needed: a newer release of the environment has one',
      packages: ['binutils'],
    }),
  },
  {
    pattern: / -c -x c |-S -x c|-E -x c|cc-version|-Werror/,
    remedy: () => ({
      advice: 'a compiler that knows the flag is needed: a newer gcc, or clang',
      packages: ['gcc'],
    }),
  },
];

/** @param compiler what the compiler says of itself (`CC_VERSION_TEXT`), or nothing */
function pluginHeaders(compiler: string): Remedy {
  const [, major] = /\bgcc\b.*?\s(\d+)\.\d+/i.exec(compiler) ?? [];
  const name = major === undefined ? 'gcc-plugin-dev' : `gcc-${major}-plugin-dev`;
  return { advice: `install the headers for compiler plugins, \`${name}\``, packages: [name] };
}

/**
 * @param option whose value the probe gives, when there is one
 * @param command that was run, or the name of the variable that was expanded
 * @param compiler `CC_VERSION_TEXT`
 * @returns `undefined` when nothing is known about it
 */
export function probeRemedy(
  option: string | undefined,
  command: string,
  compiler: string,
): Remedy | undefined {
  const known = option === undefined ? undefined : byOption.get(option);
  return known ?? byCommand.find(({ pattern }) => pattern.test(command))?.remedy(command, compiler);
}
