/** The table of architectures, held against Debian's packages and QEMU; images are looked at by the slow test beside this. */
import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';

import { describe, expect, it } from 'vitest';

import {
  architectureFacts,
  architectures,
  bootedArchitectures,
  builtArchitectures,
} from '../../src/environment/architectures.ts';
import { toolchainNeeds, toolchainPrograms } from '../../src/environment/toolchain.ts';
import { architectureOf } from '../../src/kconfig/tree-architectures.ts';
import { architectureNamed, architectureNames } from '../../src/spec/machine-names.ts';
import { debianReleases } from '../../src/spec/spec.ts';
import { aptRoot, orSkip } from '../oracle/apt-root.ts';

describe('compilers', () => {
  // Debian's Packages files
  it.for(debianReleases)('are in Debian %s', async (release, context) => {
    const { packagesFiles } = await orSkip(context, aptRoot(release));
    const names = new Set(
      packagesFiles.flatMap((file) =>
        [...readFileSync(file, 'latin1').matchAll(/^Package: (\S+)$/gmu)].map(([, name]) => name),
      ),
    );
    const wanted = builtArchitectures.flatMap((arch) => toolchainNeeds({ arch, debian: release }));
    const clang = { bullseye: 13, bookworm: 16, trixie: 19 }[release];
    wanted.push(...toolchainNeeds({ arch: 'x86_64', debian: release, llvm: clang }));
    expect(wanted.map((need) => need.package).filter((name) => !names.has(name))).toEqual([]);
  });

  it('are called by what make puts before their names', () => {
    expect(toolchainPrograms({ arch: 'arm64', environment: {} })).toEqual([
      'aarch64-linux-gnu-gcc',
      'aarch64-linux-gnu-ld',
      'make',
    ]);
    expect(toolchainPrograms({ arch: 'i386', environment: {} })).toEqual(['gcc', 'ld', 'make']);
  });

  it('come in the version that was asked for; what the build runs itself is of the release', () => {
    const needs = toolchainNeeds({ arch: 'arm64', debian: 'bookworm', gcc: 11 });
    expect(needs.map((need) => need.package)).toEqual([
      'gcc-11-aarch64-linux-gnu',
      'binutils-aarch64-linux-gnu',
      'gcc',
    ]);
    const own = toolchainNeeds({ arch: 'i386', debian: 'bookworm', gcc: 11 });
    expect(own.map((need) => need.package)).toEqual(['gcc-11', 'binutils']);
  });
});

describe('emulators', () => {
  // qemu-system-… -machine help, -cpu help
  it.for(bootedArchitectures)('QEMU has machine and processor of %s', (arch, context) => {
    const emulator = architectureFacts(arch).boot?.emulator;
    const list = (what: string): string => {
      const { error, stdout } = spawnSync(emulator?.program ?? '', [what, 'help'], { encoding: 'utf8' });
      return error ? context.skip(`${emulator?.program ?? ''} is not installed`) : stdout;
    };
    const names = (text: string): readonly string[] => text.split(/\s+/u);
    expect(names(list('-machine'))).toContain(emulator?.machine);
    expect(names(list('-cpu'))).toContain(emulator?.cpu.tcg);
  });
});

describe('names', () => {
  it.each(architectureNames)('%s is the architecture that the kernel means by it', (name) => {
    const arch = architectureNamed(name);
    expect(architectures).toContain(arch);
    // scripts/subarch.include, as the room for Kconfig has it
    if (arch !== name) expect(architectureOf(name) ?? arch).toBe(arch);
  });

  it('are one for each machine', () => {
    expect(new Set(architectureNames).size).toBe(architectureNames.length);
    expect(architectureNamed('vax')).toBeUndefined();
  });
});
