/**
 * Kernels for other machines, cross-built in the environment and booted in QEMU. Referees: file(1) and readelf, of what
 * machine the results are; QEMU, of whether they start; the tree's `make image_name` is asked by
 * test/environment/image-names.slow.test.ts.
 */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { fetchPackage, orSkip } from '../oracle/apt-root.ts';
import { needEngine } from '../setup/engine.ts';
import { makeWorkspace, type Workspace } from './workspace.ts';

needEngine();
let work: Workspace;
beforeEach(() => {
  work = makeWorkspace();
});
afterEach(() => work.remove());

/** What a kernel needs to run programs from an initramfs and to be asked what it is, whatever machine it is for. */
const anywhere = [
  ...['PRINTK', 'TTY', 'BLK_DEV_INITRD', 'BINFMT_ELF', 'PROC_FS', 'SYSFS', 'DEVTMPFS'],
  ...['IKCONFIG', 'IKCONFIG_PROC'],
];
const pl011 = ['SERIAL_AMBA_PL011', 'SERIAL_AMBA_PL011_CONSOLE'];
const uart8250 = ['SERIAL_8250', 'SERIAL_8250_CONSOLE'];

interface Case {
  /** As the spec says it. */
  readonly arch: string;
  /** The same in the kernel's words. */
  readonly known: string;
  readonly options: readonly string[];
  readonly image: string;
  /** What file(1) says of the image. */
  readonly file: RegExp;
  /** What `readelf -h` says of a module. */
  readonly machine: string;
  /** What compiled it, and what it calls itself. */
  readonly compiler: readonly [program: string, calls: RegExp];
  /** The environment, where it is not Debian 12 with its own gcc. */
  readonly environment?: string;
  /** A release of Debian for such machines, and its name of them. */
  readonly busybox: { readonly release: 'bookworm' | 'trixie'; readonly architecture: string };
}

const cases: readonly Case[] = [
  {
    arch: 'aarch64',
    known: 'arm64',
    options: pl011,
    image: 'Image.gz',
    file: /gzip compressed data/,
    machine: 'AArch64',
    compiler: ['aarch64-linux-gnu-gcc', /gcc/u],
    busybox: { release: 'bookworm', architecture: 'arm64' },
  },
  {
    arch: 'riscv64',
    known: 'riscv',
    options: ['SOC_VIRT', 'FPU', ...uart8250, 'SERIAL_OF_PLATFORM'],
    image: 'Image.gz',
    file: /gzip compressed data/,
    machine: 'RISC-V',
    compiler: ['riscv64-linux-gnu-gcc', /gcc/u],
    busybox: { release: 'trixie', architecture: 'riscv64' },
  },
  {
    arch: 'armhf',
    known: 'arm',
    options: ['MMU', 'ARCH_MULTIPLATFORM', 'ARCH_MULTI_V7', 'ARCH_VIRT', 'AEABI', 'VFP', 'NEON', ...pl011],
    image: 'zImage',
    file: /Linux kernel ARM boot executable zImage/,
    machine: 'ARM',
    compiler: ['arm-linux-gnueabihf-gcc', /gcc/u],
    busybox: { release: 'bookworm', architecture: 'armhf' },
  },
  {
    arch: 'i686',
    known: 'i386',
    options: uart8250,
    image: 'bzImage',
    file: /Linux kernel x86 boot executable bzImage/,
    machine: 'Intel 80386',
    compiler: ['gcc', /gcc/u],
    busybox: { release: 'bookworm', architecture: 'i386' },
  },
  {
    arch: 'amd64',
    known: 'x86_64',
    options: ['64BIT', ...uart8250],
    image: 'bzImage',
    file: /Linux kernel x86 boot executable bzImage/,
    machine: 'Advanced Micro Devices X86-64',
    compiler: ['clang', /clang version 16/u],
    environment: '{ debian: bookworm, llvm: 16 }',
    busybox: { release: 'bookworm', architecture: 'amd64' },
  },
];

it.for(cases)('a kernel for $arch, compiled by $compiler.0, boots', async (one, context) => {
  const deb = await orSkip(context, fetchPackage('busybox-static', one.busybox));
  mkdirSync(work.path('programs'));
  execFileSync('dpkg-deb', ['-x', deb, work.path('programs')]);
  // in /usr since Debian 13
  const busybox = ['bin/busybox', 'usr/bin/busybox']
    .map((path) => join('programs', path))
    .find((path) => existsSync(work.path(path)));

  work.change(work.spec, 'arch: x86_64', `arch: ${one.arch}`);
  if (one.environment !== undefined) work.change(work.spec, '{ debian: bookworm }', one.environment);
  const lines = [...anywhere, ...one.options].map((option) => `CONFIG_${option}=y\n`);
  writeFileSync(work.path('serial-console.config'), lines.join(''));

  const built = work.quern(['build', work.spec, '-o', 'out', '--json']);
  expect(built.stderr).not.toContain('error[');
  expect(built.status).toBe(0);
  expect(JSON.parse(built.stdout)).toMatchObject({ image: one.image });
  const lock: unknown = JSON.parse(readFileSync(work.path('gauge-station.lock.json'), 'utf8'));
  expect(lock).toMatchObject({
    spec: { arch: one.known },
    answers: { toolchain: { [one.compiler[0]]: expect.stringMatching(one.compiler[1]) } },
  });

  expect(execFileSync('file', ['-b', work.path('out', one.image)], { encoding: 'utf8' })).toMatch(one.file);
  execFileSync('tar', ['-xJf', work.path('out/modules.tar.xz'), '-C', work.folder]);
  const [module = ''] = execFileSync('find', [work.path('lib'), '-name', 'crc7.ko'], {
    encoding: 'utf8',
  }).split('\n');
  expect(execFileSync('readelf', ['-h', module], { encoding: 'utf8' })).toContain(one.machine);

  const booted = work.quern(['boot', 'out', '--busybox', busybox ?? '', '--json']);
  expect(JSON.parse(booted.stdout)).toMatchObject({
    verdict: 'booted',
    config: 'same',
    modules: [
      { name: 'crc7', loaded: true },
      { name: 'crc8', loaded: true },
    ],
  });
  expect(booted.stderr).not.toContain('error[');
  expect(booted.status).toBe(0);
});
