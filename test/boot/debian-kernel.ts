/**
 * A kernel that nobody here built: Debian's linux-image package for x86-64 clouds, with its serial console and its
 * modules. Fetched by apt, which verifies the archive's signature, and kept unpacked in the tests' cache.
 */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, renameSync, rmSync } from 'node:fs';
import { basename, join } from 'node:path';

import { aptRoot, fetchPackage } from '../oracle/apt-root.ts';
import { testCache } from '../setup/engine.ts';

export interface DebianKernel {
  readonly release: string;
  readonly image: Uint8Array;
  readonly config: string;
  /** A file below /lib/modules/RELEASE. */
  readonly module: (path: string) => Uint8Array;
}

/** @throws MissingInput where apt or the archive cannot be reached */
export async function debianKernel(): Promise<DebianKernel> {
  const root = unpacked(await fetchPackage(await packageName(), { release: 'bookworm' }));
  const [release = ''] = readdirSync(join(root, 'lib/modules'));
  const read = (path: string): Uint8Array => new Uint8Array(readFileSync(join(root, path)));
  return {
    release,
    image: read(`boot/vmlinuz-${release}`),
    config: readFileSync(join(root, `boot/config-${release}`), 'utf8'),
    module: (path) => read(`lib/modules/${release}/${path}`),
  };
}

/** The name holds the version of the kernel's interface for modules, which the archive moves on. */
async function packageName(): Promise<string> {
  const { packagesFiles } = await aptRoot('bookworm');
  const names = packagesFiles.flatMap((file) =>
    [...readFileSync(file, 'utf8').matchAll(/^Package: (linux-image-6\.1\.0-\d+-cloud-amd64)$/gmu)].map(
      ([, name = '']) => name,
    ),
  );
  const number = (name: string): number => Number(/6\.1\.0-(\d+)/u.exec(name)?.[1]);
  const newest = names.sort((a, b) => number(a) - number(b)).at(-1);
  if (newest === undefined) throw new Error('bookworm has no kernel for clouds');
  return newest;
}

function unpacked(deb: string): string {
  const keep = join(testCache(), 'unpacked');
  const root = join(keep, basename(deb, '.deb'));
  if (existsSync(root)) return root;
  mkdirSync(keep, { recursive: true });
  const aside = mkdtempSync(join(keep, 'incoming-'));
  try {
    execFileSync('dpkg-deb', ['-x', deb, join(aside, 'root')]);
    renameSync(join(aside, 'root'), root);
  } finally {
    rmSync(aside, { recursive: true, force: true });
  }
  return root;
}
