/** What compiles a kernel: how make is told, which programs those are, and which packages have them. */
import type { DebianRelease } from '../spec/spec.ts';
import { architectureFacts, type Architecture } from './architectures.ts';
import type { Need } from './need.ts';

export interface ToolchainRequest {
  readonly arch: Architecture;
  readonly debian: DebianRelease;
  /** Major version of gcc; the release's own when absent. */
  readonly gcc?: number;
  /** Major version of clang, in the place of gcc. */
  readonly llvm?: number;
}

/** A spec, as far as its compiler is concerned. */
interface CompilerChoice {
  readonly arch: Architecture;
  readonly environment: Pick<ToolchainRequest, 'llvm'>;
}

/** By which make knows the architecture and its tools. */
export interface MakeWords {
  /** `ARCH` */
  readonly arch: string;
  /** `CROSS_COMPILE`; absent for a compiler of this machine. */
  readonly crossCompile?: string;
  /** `LLVM=1`, and its assembler, which trees before 5.15 take only when told. */
  readonly llvm?: true;
}

export function makeWords({ arch, environment: { llvm } }: CompilerChoice): MakeWords {
  const { cross } = architectureFacts(arch).build ?? {};
  return {
    arch,
    // clang takes from it what to compile for; trees from 5.15 on need no such help, and do not mind
    ...(cross !== undefined && { crossCompile: `${cross}-` }),
    ...(llvm !== undefined && { llvm: true }),
  };
}

/** The programs that a build hangs on, and whose versions are compared before it. */
export function toolchainPrograms(choice: CompilerChoice): readonly string[] {
  const { crossCompile = '', llvm } = makeWords(choice);
  return llvm ? ['clang', 'ld.lld', 'make'] : [`${crossCompile}gcc`, `${crossCompile}ld`, 'make'];
}

/** The program that takes parts out of object files, as make calls it. */
export function objcopyProgram(choice: CompilerChoice): string {
  const { crossCompile = '', llvm } = makeWords(choice);
  return llvm ? 'llvm-objcopy' : `${crossCompile}objcopy`;
}

/** Major versions of the gcc of each release. Source: Debian's package `gcc`, which depends on it. */
const releaseCompiler: Readonly<Record<DebianRelease, number>> = { bullseye: 10, bookworm: 12, trixie: 14 };

/** The major version of gcc. */
export function compilerVersion({ debian, gcc }: Pick<ToolchainRequest, 'debian' | 'gcc'>): number {
  return gcc ?? releaseCompiler[debian];
}

const binutils = 'the assembler, the linker, objcopy and nm';

/** The packages of the compilers: that of the kernel, and that of the programs which the build runs. */
export function toolchainNeeds({ arch, debian, gcc, llvm }: ToolchainRequest): readonly Need[] {
  if (llvm !== undefined) {
    return [
      { package: `clang-${llvm}`, because: 'the C compiler that the spec asks for' },
      { package: `lld-${llvm}`, because: 'its linker' },
      { package: `llvm-${llvm}`, because: `${binutils}, as clang brings them` },
    ];
  }
  const { cross } = architectureFacts(arch).build ?? {};
  const own = `the C compiler of Debian ${debian}`;
  const asked = 'the C compiler, in the version that the spec asks for';
  if (cross === undefined) {
    return [
      gcc === undefined ? { package: 'gcc', because: own } : { package: `gcc-${gcc}`, because: asked },
      { package: 'binutils', because: binutils },
    ];
  }
  const compiler = gcc === undefined ? `gcc-${cross}` : `gcc-${gcc}-${cross}`;
  return [
    { package: compiler, because: `${gcc === undefined ? own : asked}, which makes code for ${arch}` },
    { package: `binutils-${cross}`, because: binutils },
    { package: 'gcc', because: 'the C compiler of the programs that the build makes for itself' },
  ];
}
