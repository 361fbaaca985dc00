/**
 * Kernel trees for the tests of Kconfig: what Debian's source packages hold of Kconfig files, defconfigs, Makefiles and
 * scripts, which is a tenth of a hundredth of the bytes and all that `make olddefconfig` reads. The versions are
 * whatever the archive has today.
 */
import { execFile } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { promisify } from 'node:util';

import { testCache } from '../setup/engine.ts';
import { aptRoot, fetchPackage, packageFile, type AptSuite } from './apt-root.ts';

const run = promisify(execFile);

export const kernelSeries = ['5.10', '6.1', '6.12', '7.3'] as const;
export type KernelSeries = (typeof kernelSeries)[number];

export interface KernelTree {
  readonly series: KernelSeries;
  /** The tree's root; nothing may be written there. */
  readonly folder: string;
  /** Where what is made of the tree is kept: a folder of its own for each version of the package. */
  readonly workshop: string;
}

const suites: Readonly<Record<KernelSeries, AptSuite>> = {
  '5.10': 'bullseye',
  '6.1': 'bookworm',
  '6.12': 'bookworm',
  '7.3': 'trixie-backports',
};

/** Members of the tarball that are unpacked, as patterns of GNU tar, where `*` also stands for slashes. */
const members = [
  '*/Kconfig*',
  '*/Kbuild',
  '*/Makefile',
  '*/arch/*/Kbuild*',
  '*/arch/*/Makefile*',
  '*/arch/*/Platform',
  '*/arch/*/configs/*',
  '*/arch/*/tools/*',
  '*/kernel/configs/*',
  '*/scripts/*',
];

/**
 * The tree of a series, unpacked once into the tests' cache.
 * @throws MissingInput where apt or the archive cannot be reached
 */
export async function kernelTree(series: KernelSeries): Promise<KernelTree> {
  return await unpackedMembers(series, { name: 'tree', members, proof: 'scripts/kconfig/conf.c' });
}

/** Some members of the tarball that are unpacked together. */
interface Members {
  /** Of the folder in the workshop. */
  readonly name: string;
  /** As patterns of GNU tar. */
  readonly members: readonly string[];
  /** One of the files that has to be among them. */
  readonly proof: string;
}

/** The headers of a tree that say what a module is for, in a folder of their own. */
export async function vermagicHeaders(series: KernelSeries): Promise<string> {
  const wanted = {
    name: 'vermagic',
    members: ['*/include/asm/vermagic.h', '*/include/linux/vermagic.h', '*/include/linux/stringify.h'],
    proof: 'include/linux/vermagic.h',
  };
  return (await unpackedMembers(series, wanted)).folder;
}

/** What a tree says in words and in headers of the versions of its tools, in a folder of its own. */
export async function toolchainTexts(series: KernelSeries): Promise<string> {
  const wanted = {
    name: 'toolchain-texts',
    members: ['*/Documentation/process/changes.rst', '*/include/linux/compiler-*.h'],
    proof: 'Documentation/process/changes.rst',
  };
  return (await unpackedMembers(series, wanted)).folder;
}

async function unpackedMembers(series: KernelSeries, wanted: Members): Promise<KernelTree> {
  const choice = { release: suites[series] };
  const name = await packageName(series);
  const { file } = await packageFile(name, choice);
  const workshop = path.join(testCache(), 'kconfig', path.basename(file, '.deb'));
  const folder = path.join(workshop, wanted.name);
  if (!existsSync(folder)) {
    const deb = await fetchPackage(name, choice);
    await mkdir(workshop, { recursive: true });
    const words = [deb, workshop, wanted.name, wanted.proof, ...wanted.members];
    await run('flock', [path.join(workshop, 'lock'), 'sh', '-euc', unpack, 'sh', ...words]);
  }
  return { series, folder, workshop };
}

const unpack = `
deb=$1 workshop=$2 name=$3 proof=$4
shift 4
[ ! -e "$workshop/$name" ] || exit 0
rm -rf "$workshop/incoming"
mkdir "$workshop/incoming"
dpkg-deb --fsys-tarfile "$deb" | tar -xO --wildcards './usr/src/linux-source-*.tar.xz' | xz -dc |
  tar -x -C "$workshop/incoming" --strip-components=1 --no-same-owner --wildcards "$@"
[ -e "$workshop/incoming/$proof" ]
mv "$workshop/incoming" "$workshop/$name"`;

/** The archive of backports moves on: when it no longer has the series, its newest one takes the place. */
async function packageName(series: KernelSeries): Promise<string> {
  const named = `linux-source-${series}`;
  if (!suites[series].endsWith('-backports')) return named;
  const { packagesFiles } = await aptRoot(suites[series]);
  const found = new Set<string>();
  for (const file of packagesFiles) {
    for (const [, name = ''] of (await readFile(file, 'latin1')).matchAll(
      /^Package: (linux-source-\d+\.\d+)$/gmu,
    ))
      found.add(name);
  }
  const ordered = [...found].sort(new Intl.Collator('en', { numeric: true }).compare);
  return found.has(named) ? named : (ordered.at(-1) ?? named);
}
