/** Every file of a kernel source, for what is built outside of a kit. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, renameSync, rmSync } from 'node:fs';
import { join } from 'node:path';

import { testCache } from '../setup/engine.ts';
import { fetchPackage, packageFile } from './apt-root.ts';

/**
 * All of Linux 6.1 as Debian has it, unpacked once into the tests' cache; nothing may be written there.
 * @throws MissingInput where apt or the archive cannot be reached
 */
export async function wholeSource(): Promise<string> {
  const choice = { release: 'bookworm' } as const;
  const { file } = await packageFile('linux-source-6.1', choice);
  const folder = join(testCache(), 'whole-trees', file.replace(/\.deb$/u, ''));
  if (existsSync(folder)) return folder;
  const deb = await fetchPackage('linux-source-6.1', choice);
  execFileSync('mkdir', ['-p', join(folder, '..')]);
  const incoming = mkdtempSync(`${folder}.`);
  const unpack =
    'dpkg-deb --fsys-tarfile "$0" | tar -xO ./usr/src/linux-source-6.1.tar.xz | xz -dc | tar -x -C "$1" --strip-components=1 --no-same-owner';
  try {
    execFileSync('sh', ['-euc', unpack, deb, incoming]);
    renameSync(incoming, folder);
  } finally {
    rmSync(incoming, { recursive: true, force: true });
  }
  return folder;
}
