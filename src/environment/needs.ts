/**
 * What a kernel is built with, package by package. The Essential packages (a shell, coreutils, sed, grep, tar, gzip,
 * awk, perl-base …) are part of every environment and not named here.
 *
 * Sources: the table of programs in the kernel's Documentation/process/changes.rst and its Makefiles; the
 * Build-Depends of Debian's source package `linux` as a cross-check. Left out on purpose, since no image and no module
 * needs them: rsync (`make headers_install`), python3 (documentation, tests and tools), git, and the headers for
 * compiler plugins, without which the kernel does not offer the options that would need them.
 *
 * The compression programs are a few hundred kilobytes and are all here: which one a kernel takes is one option of its
 * configuration, and a missing one is found out at the end of the build.
 */
import type { Architecture } from './architectures.ts';
import type { Need } from './need.ts';
import { toolchainNeeds, type ToolchainRequest } from './toolchain.ts';

const everywhere: readonly Need[] = [
  { package: 'binutils', because: 'the assembler, the linker, objcopy and nm' },
  { package: 'bc', because: 'kernel/time/timeconst.bc, which computes the constants of the timer frequency' },
  { package: 'bison', because: 'the parsers of Kconfig files, device trees and symbol versions' },
  { package: 'bzip2', because: 'KERNEL_BZIP2 and a source archive packed so' },
  { package: 'cpio', because: 'IKHEADERS, and an initramfs built into the kernel' },
  { package: 'dwarves', because: 'DEBUG_INFO_BTF: pahole turns debug information into type information' },
  { package: 'flex', because: 'the scanners of Kconfig files, device trees and symbol versions' },
  { package: 'kmod', because: 'depmod, with which the modules are installed' },
  { package: 'libc6-dev', because: 'the programs that the build compiles for itself: fixdep, conf, modpost' },
  {
    package: 'libssl-dev',
    because: 'sign-file and extract-cert, built when modules or certificates are signed',
  },
  { package: 'lz4', because: 'KERNEL_LZ4' },
  { package: 'lzop', because: 'KERNEL_LZO' },
  { package: 'make', because: 'the build itself' },
  { package: 'openssl', because: 'the key that is made when modules are to be signed and none is given' },
  { package: 'patch', because: 'the patches of the spec' },
  { package: 'xz-utils', because: 'the source archive, KERNEL_XZ, KERNEL_LZMA and compressed modules' },
  { package: 'zstd', because: 'KERNEL_ZSTD and compressed modules' },
];

const byArchitecture: Readonly<Partial<Record<Architecture, readonly Need[]>>> = {
  x86_64: [{ package: 'libelf-dev', because: 'objtool, which reads and rewrites every object file' }],
};

/** The packages that a kernel is built with, each with the reason; sorted by name. */
export function environmentNeeds(request: ToolchainRequest): readonly Need[] {
  const needs = [...everywhere, ...(byArchitecture[request.arch] ?? []), ...toolchainNeeds(request)];
  return needs.sort((a, b) => (a.package < b.package ? -1 : 1));
}
