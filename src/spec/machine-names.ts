import { architectures, type Architecture } from '../environment/architectures.ts';

/**
 * Usual names of machines, to the architecture in the kernel's own words, which is what a spec says in the end. Sources:
 * `dpkg-architecture -L` for those of Debian; the kernel's scripts/subarch.include for those that `uname -m` prints.
 */
const machines: ReadonlyMap<string, Architecture> = new Map([
  ['amd64', 'x86_64'],
  ['x64', 'x86_64'],
  ['x86-64', 'x86_64'],
  ['i486', 'i386'],
  ['i586', 'i386'],
  ['i686', 'i386'],
  ['aarch64', 'arm64'],
  ['armel', 'arm'],
  ['armhf', 'arm'],
  ['armv6l', 'arm'],
  ['armv7l', 'arm'],
  ['riscv32', 'riscv'],
  ['riscv64', 'riscv'],
  ['ppc', 'powerpc'],
  ['ppc64', 'powerpc'],
  ['ppc64el', 'powerpc'],
  ['ppc64le', 'powerpc'],
  ['s390x', 's390'],
  ['mipsel', 'mips'],
  ['mips64', 'mips'],
  ['mips64el', 'mips'],
  ['loong64', 'loongarch'],
  ['loongarch64', 'loongarch'],
  ['hppa', 'parisc'],
  ['sh4', 'sh'],
  ['sparc64', 'sparc'],
]);

/** Every name by which an architecture may be called. */
export const architectureNames: readonly string[] = [...architectures, ...machines.keys()];

/** The architecture that is meant by one of these names. */
export function architectureNamed(name: string): Architecture | undefined {
  return machines.get(name) ?? architectures.find((one) => one === name);
}
