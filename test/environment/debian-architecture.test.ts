/** Debian's names of machines, against what the tree's own packages are called (set_debarch of scripts/package/mkdebian). */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { expect, it } from 'vitest';

import { debianArchitecture, type Architecture } from '../../src/environment/architectures.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';

/** `UTS_MACHINE` is what the Makefile of the architecture makes of the options. */
const cases: readonly (readonly [Architecture, machine: string, options: readonly string[]])[] = [
  ['x86_64', 'x86_64', ['X86_64', '64BIT']],
  ['x86_64', 'i386', ['X86_32']],
  ['i386', 'i386', ['X86_32']],
  ['arm64', 'aarch64', ['64BIT']],
  ['arm', 'arm', ['AEABI', 'VFP']],
  ['arm', 'arm', ['AEABI']],
  ['arm', 'arm', []],
  ['riscv', 'riscv64', ['64BIT']],
  ['riscv', 'riscv32', ['32BIT']],
  ['s390', 's390x', ['64BIT']],
  ['powerpc', 'ppc64le', ['64BIT', 'CPU_LITTLE_ENDIAN']],
  ['powerpc', 'ppc64', ['64BIT']],
  ['powerpc', 'ppc', []],
  ['powerpc', 'ppc', ['SPE']],
  ['mips', 'mips64', ['64BIT', 'CPU_LITTLE_ENDIAN']],
  ['mips', 'mips', ['CPU_LITTLE_ENDIAN']],
  ['mips', 'mips64', ['64BIT', 'CPU_MIPSR6', 'CPU_LITTLE_ENDIAN']],
  ['mips', 'mips', ['CPU_MIPSR6']],
  ['mips', 'mips64', ['64BIT']],
];

it('are those of the packages that the tree makes', async (context) => {
  const { folder } = await orSkip(context, kernelTree('6.12'));
  const script = readFileSync(join(folder, 'scripts/package/mkdebian'), 'utf8');
  const functions = ['is_enabled', 'if_enabled_echo', 'set_debarch'].map(
    (name) => new RegExp(`^${name}\\(\\) \\{\n[\\s\\S]*?^\\}\n`, 'mu').exec(script)?.[0] ?? '',
  );
  const scratch = mkdtempSync('/tmp/quern-machines-');
  try {
    for (const [arch, machine, options] of cases) {
      // it looks up each option with grep
      const config = join(scratch, 'auto.conf');
      writeFileSync(config, options.map((option) => `CONFIG_${option}=y\n`).join(''));
      const text = `${functions.join('').replaceAll('include/config/auto.conf', config)}\nset_debarch\necho "$debarch"\n`;
      const said = execFileSync('sh', ['-eu', '-c', text], {
        encoding: 'utf8',
        env: { PATH: process.env['PATH'], UTS_MACHINE: machine, KCONFIG_CONFIG: config },
      });
      expect([arch, options, debianArchitecture(arch, (option) => options.includes(option))]).toEqual([
        arch,
        options,
        said.trim(),
      ]);
    }
  } finally {
    rmSync(scratch, { recursive: true });
  }
});

it('are none of what nothing is built for', () => {
  expect(() => debianArchitecture('sparc', () => false)).toThrow('no kernel is built for sparc');
});
