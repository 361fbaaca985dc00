/** What compiles a kernel: how make is told, which programs those are, and which packages have them. */
import type { DebianRelease } from '../spec/spec.ts';
import { architectureFacts, type Architecture } from './architectures.ts';
import type { Need } from './need.ts';

export interface ToolchainRequest {
  readonly arch: Architecture;
  readonly debian: DebianRelease;
  /** Major version of gcc; the release's own when absent. */
  readonly gcc?: number;
}

/** Variables of make's command line by which it knows the architecture and its tools. */
export interface MakeWords {
  readonly arch: string;
  /** `CROSS_COMPILE`; absent for a compiler of this machine. */
  readonly crossCompile?: string;
}

export function makeWords({ arch }: Pick<ToolchainRequest, 'arch'>): MakeWords {
  const { cross } = architectureFacts(arch).build ?? {};
  return { arch, ...(cross !== undefined && { crossCompile: `${cross}-` }) };
}

/** The programs that a build hangs on, and whose versions are compared before it. */
export function toolchainPrograms({ arch }: Pick<ToolchainRequest, 'arch'>): readonly string[] {
  const { crossCompile = '' } = makeWords({ arch });
  return [`${crossCompile}gcc`, `${crossCompile}ld`, 'make'];
}

/** Major versions of the gcc of each release. Source: Debian's package `gcc`, which depends on it. */
const releaseCompiler: Readonly<Record<DebianRelease, number>> = { bullseye: 10, bookworm: 12, trixie: 14 };

/** The major version of gcc. */
export function compilerVersion({ debian, gcc }: Pick<ToolchainRequest, 'debian' | 'gcc'>): number {
  return gcc ?? releaseCompiler[debian];
}

/** The packages of the compilers: that of the kernel, and that of the programs which the build runs. */
export function toolchainNeeds({ arch, debian, gcc }: ToolchainRequest): readonly Need[] {
  const { cross } = architectureFacts(arch).build ?? {};
  const binutils = 'the assembler, the linker, objcopy and nm';
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
