/** Vermagic as we compute it, against what the C preprocessor makes of the headers of the trees themselves. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import fc from 'fast-check';
import { afterAll, beforeAll, expect, it } from 'vitest';

import { builtArchitectures, sourceFolder, type Architecture } from '../../src/environment/architectures.ts';
import { vermagic } from '../../src/environment/vermagic.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { kernelSeries, kernelTree, vermagicHeaders, type KernelSeries } from '../oracle/kernel-trees.ts';

const release = '6.1.192-gauge';
/** What the build makes on the way; the seed is not known before. */
let made: string;
beforeAll(() => {
  made = mkdtempSync('/tmp/quern-vermagic-');
  for (const folder of ['generated', 'asm']) mkdirSync(join(made, folder));
  writeFileSync(join(made, 'generated/utsrelease.h'), `#define UTS_RELEASE "${release}"\n`);
  for (const name of ['randstruct_hash.h', 'randomize_layout_hash.h'])
    writeFileSync(join(made, 'generated', name), '#define RANDSTRUCT_HASHED_SEED ""\n');
  // what include/asm-generic has for architectures without one of their own
  writeFileSync(join(made, 'asm/vermagic.h'), '#define MODULE_ARCH_VERMAGIC ""\n');
});
afterAll(() => rmSync(made, { recursive: true }));

/** `__LINUX_ARM_ARCH__` is given by arch/arm/Makefile: what make says of those of its lines that give it. */
function armVersion(makefile: string, options: readonly string[]): string {
  const lines = makefile.split('\n');
  const first = lines.findIndex((line) => line.includes('CONFIG_CPU_32v7M'));
  const last = lines.findLastIndex((line) => line.includes('CONFIG_CPU_32v3'));
  const input = [
    ...options.map((option) => `CONFIG_${option} := y`),
    ...lines.slice(first, last + 1),
    '$(info $(filter -D__LINUX_ARM_ARCH__=%,$(arch-y) $(cpp-y)))',
    'all: ;',
  ];
  return execFileSync('make', ['-s', '-f', '-'], { input: input.join('\n'), encoding: 'utf8' }).trim();
}

function defines(tree: Tree, arch: Architecture, options: readonly string[]): readonly string[] {
  const layout = options.includes('RANDSTRUCT') || options.includes('GCC_PLUGIN_RANDSTRUCT');
  return [
    ...(arch === 'arm' ? [armVersion(tree.armMakefile, options)] : []),
    ...(layout ? [tree.series === '5.10' ? '-DRANDSTRUCT_PLUGIN' : '-DRANDSTRUCT'] : []),
  ];
}

interface Tree {
  readonly series: KernelSeries;
  readonly headers: string;
  readonly armMakefile: string;
}

function said(tree: Tree, arch: Architecture, options: readonly string[]): string {
  const { headers } = tree;
  const places = [join(headers, 'include'), join(headers, 'arch', sourceFolder(arch), 'include'), made];
  const words = ['-E', '-P', '-DINCLUDE_VERMAGIC', ...places.map((place) => `-I${place}`)];
  words.push(...options.map((option) => `-DCONFIG_${option}=1`), ...defines(tree, arch, options), '-');
  const input = '#include <linux/vermagic.h>\nVERMAGIC_STRING\n';
  const text = execFileSync('gcc', words, { input, encoding: 'utf8' });
  return [...text.matchAll(/"([^"]*)"/gu)].map(([, part]) => part).join('');
}

const flags = ['SMP', 'MODULE_UNLOAD', 'MODVERSIONS'];
const words: Readonly<Partial<Record<Architecture, readonly string[]>>> = {
  arm: ['THUMB2_KERNEL', 'ARM_PATCH_PHYS_VIRT'],
  powerpc: ['MPROFILE_KERNEL', 'RELOCATABLE'],
};
/** One of these is on, or both of a pair. */
const families: Readonly<Partial<Record<Architecture, readonly string[]>>> = {
  x86_64: ['X86_64'],
  // those that all trees have
  i386: ['M686', 'M586TSC', 'MPENTIUM4', 'MK7', 'MVIAC3_2', 'MGEODE_LX', 'MATOM'],
  arm: [
    'CPU_32v7 CPU_32v6K',
    'CPU_32v7',
    'CPU_32v7M',
    'CPU_32v6 CPU_32v6K',
    'CPU_32v7 CPU_32v6',
    'CPU_32v5',
    'CPU_32v4T',
    'CPU_32v4',
  ],
  mips: ['CPU_MIPS32_R2', 'CPU_MIPS64_R2', 'CPU_CAVIUM_OCTEON', 'CPU_LOONGSON64', 'CPU_BMIPS', 'CPU_R4X00'],
};

it.for(kernelSeries)('is what the headers of Linux %s say', { timeout: 600_000 }, async (series, context) => {
  const headers = await orSkip(context, vermagicHeaders(series));
  const { folder } = await orSkip(context, kernelTree(series));
  const tree = { series, headers, armMakefile: readFileSync(join(folder, 'arch/arm/Makefile'), 'utf8') };
  const preemption = series === '5.10' ? ['PREEMPT', 'PREEMPT_RT'] : ['PREEMPT_BUILD', 'PREEMPT_RT'];
  const layout = series === '5.10' ? ['GCC_PLUGIN_RANDSTRUCT'] : ['RANDSTRUCT'];
  const config = fc
    .constantFrom(...builtArchitectures)
    .chain((arch) =>
      fc
        .tuple(
          fc.subarray([...flags, ...(words[arch] ?? [])]),
          fc.constantFrom([], ...preemption.map((one) => [one])),
          fc.constantFrom([], [], layout),
          fc.constantFrom(...(families[arch] ?? ['']).map((one) => one.split(' '))),
          arch === 'mips'
            ? fc.constantFrom(['32BIT'], ['64BIT'])
            : fc.constant(arch === 'i386' ? ['X86_32'] : []),
        )
        .map((parts) => ({ arch, options: parts.flat().filter(Boolean) })),
    );
  let compared = 0;
  fc.assert(
    fc.property(config, ({ arch, options }) => {
      const found = vermagic(arch, release, (option) => options.includes(option));
      expect(found?.text).toBe(said(tree, arch, options));
      expect(found?.seeded).toBe(options.includes(layout[0] ?? ''));
      compared += 1;
    }),
    { numRuns: 300 },
  );
  expect(compared).toBe(300);
});
