import type { ListedFiles } from './tree-files.ts';

/** Those that a tree has, as make has them in SRCARCH; none for a tree that does not keep them apart. */
export function treeArchitectures(tree: ListedFiles): readonly string[] {
  const folders = tree.list('arch').filter((name) => /^\w+$/u.test(name));
  return folders.filter((name) => tree.read(`arch/${name}/Kconfig`) !== undefined).sort();
}

/**
 * Names of machines, to what make calls them on its command line. Sources: the kernel's scripts/subarch.include for
 * those that `uname -m` prints; for those of Debian (dpkg-architecture(1)) common practice.
 */
const machines: readonly (readonly [pattern: RegExp, arch: string])[] = [
  [/^(?:amd64|x64|x86-64)$/u, 'x86_64'],
  [/^i.86$/u, 'i386'],
  [/^(?:aarch64.*|armv8.*)$/u, 'arm64'],
  [/^(?:arm.+|sa110)$/u, 'arm'],
  [/^s390x$/u, 's390'],
  [/^ppc.*$/u, 'powerpc'],
  [/^mips.+$/u, 'mips'],
  [/^sh[234].*$/u, 'sh'],
  [/^riscv.+$/u, 'riscv'],
  [/^loong.*$/u, 'loongarch'],
];

/** What make calls a machine that is known by another name. */
export function architectureOf(machine: string): string | undefined {
  return machines.find(([pattern]) => pattern.test(machine.toLowerCase()))?.[1];
}
