/** Kernels that nobody here built, for other machines: Debian's, with their serial consoles, in QEMU. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { expect, it } from 'vitest';

import { bootRecord } from '../../src/boot/boot.ts';
import { missingOptions } from '../../src/boot/console-options.ts';
import type { Architecture } from '../../src/environment/architectures.ts';
import { aptRoot, fetchPackage, orSkip, type AptSuite } from '../oracle/apt-root.ts';
import { benchHost, emulatorOf, makeRecord } from './world.ts';

interface Case {
  readonly arch: Architecture;
  readonly release: AptSuite;
  /** As Debian calls the machine, and its kernels for it. */
  readonly debian: string;
  readonly kernels: RegExp;
  /** The image is packed, as a build leaves it. */
  readonly packed: boolean;
}

const cases: readonly Case[] = [
  {
    arch: 'arm',
    release: 'bookworm',
    debian: 'armhf',
    kernels: /^linux-image-\S+-\d+-armmp$/u,
    packed: false,
  },
  {
    arch: 'riscv',
    release: 'trixie',
    debian: 'riscv64',
    kernels: /^linux-image-\d\S+-riscv64$/u,
    packed: true,
  },
  {
    arch: 'i386',
    release: 'bookworm',
    debian: 'i386',
    kernels: /^linux-image-\S+-\d+-686-pae$/u,
    packed: false,
  },
];

/** The last kernel of the archive's lists, whose names hold versions that move on. */
async function kernelPackage({ release, debian, kernels }: Case): Promise<string> {
  const { packagesFiles } = await aptRoot(release, debian);
  const names = packagesFiles.flatMap((file) =>
    [...readFileSync(file, 'latin1').matchAll(/^Package: (\S+)$/gmu)].map(([, name = '']) => name),
  );
  const newest = names.filter((name) => kernels.test(name)).at(-1);
  if (newest === undefined) throw new Error(`${release} has no kernel for ${debian}`);
  return newest;
}

it.for(cases)('Debian’s kernel for $arch boots', async (one, context) => {
  const choice = { release: one.release, architecture: one.debian };
  const kernel = await orSkip(
    context,
    kernelPackage(one).then((name) => fetchPackage(name, choice)),
  );
  const busybox = await orSkip(context, fetchPackage('busybox-static', choice));
  const folder = mkdtempSync('/tmp/quern-machine-');
  let dispose = (): void => undefined;
  try {
    const unpack = 'dpkg-deb --fsys-tarfile "$0" | tar -x -C "$1" --wildcards "./boot/*"';
    execFileSync('sh', ['-euc', unpack, kernel, folder]);
    execFileSync('dpkg-deb', ['-x', busybox, folder]);
    const names = readdirSync(join(folder, 'boot'));
    const read = (start: string): Buffer =>
      readFileSync(join(folder, 'boot', names.find((name) => name.startsWith(start)) ?? ''));
    const release = names.find((name) => name.startsWith('config-'))?.slice('config-'.length) ?? '';
    const config = read('config-').toString();
    const image = one.packed ? gzipSync(read('vmlinu'), { level: 1 }) : read('vmlinu');
    expect(missingOptions(config, emulatorOf(one.arch))).toEqual([]);

    const record = makeRecord({ image, config, release });
    dispose = record.dispose;
    const provenance = join(record.folder, 'provenance.json');
    writeFileSync(
      provenance,
      readFileSync(provenance, 'utf8').replace('"arch": "x86_64"', `"arch": "${one.arch}"`),
    );
    const program = ['bin/busybox', 'usr/bin/busybox'].find((path) => existsSync(join(folder, path))) ?? '';
    const { value } = await bootRecord(benchHost(), {
      folder: record.folder,
      busybox: join(folder, program),
      timeoutSeconds: 600,
    });
    expect(value).toMatchObject({ verdict: 'booted', release });
  } finally {
    dispose();
    rmSync(folder, { recursive: true });
  }
});
