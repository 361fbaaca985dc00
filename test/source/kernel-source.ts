import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { chmodSync, copyFileSync, mkdirSync, readFileSync, symlinkSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';

import type { Store } from '../../src/host/store.ts';

/** A kernel tree in small: what a pack keeps of it, what it does not, and names that only its Kconfig files tell. */
export const smallKernel: Readonly<Record<string, string>> = {
  Kconfig: 'mainmenu "Otter Bank \xe4"\nsource "scripts/Kconfig.include"\nsource "drivers/gauge/options"\n',
  Makefile: 'VERSION = 6\n',
  'scripts/Kconfig.include': 'success = $(shell,{ $(1); } >/dev/null 2>&1 && echo y || echo n)\n',
  'scripts/cc-version.sh': '#!/bin/sh\necho GCC\n',
  'scripts/kconfig/parser.y': '%%\n',
  'drivers/gauge/options': 'config GAUGE\n\tdef_bool $(success,$(srctree)/tools/weir.py)\n',
  'drivers/gauge/gauge.c': 'int gauge;\n',
  'tools/weir.py': '#!/usr/bin/python3\n',
  'arch/x86/Kconfig': '-> Kconfig.real',
  'arch/x86/Kconfig.real': 'config X86\n\tdef_bool y\n',
  'arch/x86/configs/x86_64_defconfig': '',
  'net/Kconfig': '-> ../etc/passwd',
  '.git/Kconfig': 'config GIT\n',
};

export const keptOfSmallKernel: readonly string[] = [
  'Kconfig',
  'Makefile',
  'arch/x86/Kconfig',
  'arch/x86/Kconfig.real',
  'arch/x86/configs/x86_64_defconfig',
  'drivers/gauge/options',
  'scripts/Kconfig.include',
  'scripts/cc-version.sh',
  'scripts/kconfig/parser.y',
  'tools/weir.py',
];

/** Lays a tree: `-> x` is a link, `#!` a program. */
export function layKernel(folder: string, files: Readonly<Record<string, string>> = smallKernel): string {
  for (const [path, content] of Object.entries(files)) {
    const full = join(folder, path);
    mkdirSync(dirname(full), { recursive: true });
    if (content.startsWith('-> ')) symlinkSync(content.slice(3), full);
    else writeFileSync(full, content, 'latin1');
    if (content.startsWith('#!')) chmodSync(full, 0o755);
  }
  return folder;
}

/** Packs a laid tree with GNU tar; `form` is what its name ends with, or `deb` for a package as Debian's are. */
export function archiveKernel(work: string, tree: string, form: string): string {
  const flags: Readonly<Record<string, string>> = { xz: '-J', deb: '-J', gz: '-z', bz2: '-j', zst: '--zstd' };
  const flag = flags[form];
  const tarball = join(work, form === 'deb' ? 'linux-source-6.1.tar.xz' : `linux.${form}`);
  execFileSync('tar', [
    '-c',
    ...(flag === undefined ? [] : [flag]),
    '-f',
    tarball,
    '--exclude=.git',
    '--transform=s,^\\.,linux-6.1,S',
    '-C',
    tree,
    '.',
  ]);
  if (form !== 'deb') return tarball;
  const root = join(work, 'package');
  mkdirSync(join(root, 'DEBIAN'), { recursive: true });
  mkdirSync(join(root, 'usr/src'), { recursive: true });
  writeFileSync(
    join(root, 'DEBIAN/control'),
    'Package: linux-source-6.1\nVersion: 6.1.9-1\nArchitecture: all\nMaintainer: Otter Bank <gauge@otter-bank.example>\nDescription: x\n',
  );
  copyFileSync(tarball, join(root, 'usr/src/linux-source-6.1.tar.xz'));
  const deb = join(work, 'linux-source.deb');
  execFileSync('dpkg-deb', ['--build', '--root-owner-group', '-Zxz', root, deb], { stdio: 'ignore' });
  return deb;
}

/** Puts a file into a store under its digest, which is returned. */
export async function keep(store: Store, path: string): Promise<string> {
  const content = readFileSync(path);
  await store.add([content]);
  return createHash('sha256').update(content).digest('hex');
}
