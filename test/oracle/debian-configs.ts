/** The configurations that Debian builds its kernels with, from the binary package linux-config-VERSION. */
import { execFile } from 'node:child_process';
import { promisify } from 'node:util';

import { fetchPackage } from './apt-root.ts';
import type { KernelArchitecture } from './kconfig-program.ts';

const run = promisify(execFile);

/** Debian's architectures by make's ARCH, those that bookworm has. */
const debianNames: Readonly<Record<KernelArchitecture, readonly string[]>> = {
  x86_64: ['amd64'],
  i386: ['i386'],
  arm64: ['arm64'],
  arm: ['armel', 'armhf'],
  riscv: [],
  powerpc: ['ppc64el'],
  s390: ['s390x'],
  mips: ['mips64el', 'mipsel'],
};

export interface DebianConfig {
  /** As the file is called: architecture, feature set and flavour. */
  readonly name: string;
  /** In latin1. */
  readonly text: string;
}

/**
 * Those of the 6.1 kernel for an architecture; none where Debian has no such architecture.
 * @throws MissingInput where apt or the archive cannot be reached
 */
export async function debianConfigs(arch: KernelArchitecture): Promise<readonly DebianConfig[]> {
  const found: DebianConfig[] = [];
  for (const architecture of debianNames[arch]) {
    const deb = await fetchPackage('linux-config-6.1', { release: 'bookworm', architecture });
    const listed = await run('sh', ['-c', 'dpkg-deb --fsys-tarfile "$0" | tar -t', deb]);
    for (const member of listed.stdout
      .split('\n')
      .filter((name) => name.endsWith('.xz'))
      .sort()) {
      const { stdout } = await run(
        'sh',
        ['-c', 'dpkg-deb --fsys-tarfile "$0" | tar -xO "$1" | xz -dc', deb, member],
        { encoding: 'latin1', maxBuffer: 64 << 20 },
      );
      const name = /config\.([^/]+)\.xz$/u.exec(member)?.[1] ?? member;
      found.push({ name, text: stdout });
    }
  }
  return found;
}
