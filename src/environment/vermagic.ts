/**
 * What the modules of a kernel will say they are for (`modinfo -F vermagic`), which a kernel compares with its own when it
 * loads one.
 *
 * Sources: include/linux/vermagic.h and arch/ARCH/include/asm/vermagic.h of 5.10, 6.1, 6.12 and 7.3; for arm also
 * arch/arm/Makefile, which says what `__LINUX_ARM_ARCH__` is.
 */
import type { Architecture, OptionOn } from './architectures.ts';

export interface Vermagic {
  readonly text: string;
  /** A hash of the seed for the layout of structures follows, which each build draws anew. */
  readonly seeded: boolean;
}

/** Each with the word that stands for it; one of them is on. */
type Families = readonly (readonly [option: string, word: string])[];

const x86Families: Families = [
  ...['486SX', '486', '586', '586TSC', '586MMX', 'CORE2', 'ATOM', '686'].map(afterM),
  ...['PENTIUMII', 'PENTIUMIII', 'PENTIUMM', 'PENTIUM4', 'K6', 'K7', 'K8', 'ELAN', 'CRUSOE'].map(afterM),
  ...['EFFICEON', 'WINCHIPC6', 'WINCHIP3D', 'CYRIXIII', 'VIAC7', 'GEODEGX1'].map(afterM),
  ['MVIAC3_2', 'VIAC3-2'],
  ['MGEODE_LX', 'GEODE'],
];

const mipsFamilies: Families = [
  ...['BMIPS', 'MIPS32_R1', 'MIPS32_R2', 'MIPS32_R5', 'MIPS32_R6'].map(afterCpu),
  ...['MIPS64_R1', 'MIPS64_R2', 'MIPS64_R5', 'MIPS64_R6', 'R3000', 'R4300', 'R4X00'].map(afterCpu),
  ...['TX39XX', 'VR41XX', 'TX49XX', 'R5000', 'R5500', 'NEVADA', 'R10000', 'RM7000', 'SB1'].map(afterCpu),
  ...['LOONGSON32', 'LOONGSON2EF', 'LOONGSON64', 'XLR', 'XLP', 'P5600'].map(afterCpu),
  ['CPU_CAVIUM_OCTEON', 'OCTEON'],
];

/** The last one that is on counts; 32v6K goes with 32v6 in the Makefile, or does not count. */
const armVersions: Families = [
  ['CPU_32v7M', '7'],
  ['CPU_32v7', '7'],
  ['CPU_32v6', '6'],
  ['CPU_32v5', '5'],
  ['CPU_32v4T', '4'],
  ['CPU_32v4', '4'],
  ['CPU_32v3', '3'],
];

/**
 * The vermagic of a kernel's modules, before anything is compiled.
 *
 * @returns nothing for an architecture whose rule is not known here
 */
export function vermagic(arch: Architecture, kernelRelease: string, on: OptionOn): Vermagic | undefined {
  const machine = machineWords(arch, on);
  if (machine === undefined) return undefined;
  const words = [
    on('SMP') ? 'SMP ' : '',
    preemption(on),
    on('MODULE_UNLOAD') ? 'mod_unload ' : '',
    on('MODVERSIONS') ? 'modversions ' : '',
    machine,
  ];
  // 5.10 has the plugin of gcc alone, and calls it by that name
  const newer = on('RANDSTRUCT');
  const seeded = newer || on('GCC_PLUGIN_RANDSTRUCT');
  const seed = seeded ? (newer ? 'RANDSTRUCT_' : 'RANDSTRUCT_PLUGIN_') : '';
  return { text: `${kernelRelease} ${words.join('')}${seed}`, seeded };
}

/**
 * Trees older than PREEMPT_BUILD look at PREEMPT, which comes with it where both exist. A tree with both words says the one
 * for PREEMPT_RT first, or has the two options exclude each other.
 */
function preemption(on: OptionOn): string {
  if (on('PREEMPT_RT')) return 'preempt_rt ';
  return on('PREEMPT_BUILD') || on('PREEMPT') ? 'preempt ' : '';
}

function machineWords(arch: Architecture, on: OptionOn): string | undefined {
  switch (arch) {
    case 'x86_64':
    case 'i386':
      return on('X86_64') ? '' : familyWord(x86Families, on);
    case 'arm64':
      return 'aarch64';
    case 'riscv':
      return 'riscv';
    case 's390':
      return '';
    case 'arm': {
      const version = armVersions.findLast(([option]) => on(option))?.[1];
      if (version === undefined) return undefined;
      return `ARMv${version} ${on('THUMB2_KERNEL') ? 'thumb2 ' : ''}${on('ARM_PATCH_PHYS_VIRT') ? 'p2v8 ' : ''}`;
    }
    case 'powerpc': {
      const tracing = on('ARCH_USING_PATCHABLE_FUNCTION_ENTRY')
        ? 'patchable-function-entry '
        : on('MPROFILE_KERNEL')
          ? 'mprofile-kernel '
          : '';
      return `${tracing}${on('RELOCATABLE') ? 'relocatable ' : ''}`;
    }
    case 'mips': {
      const family = familyWord(mipsFamilies, on);
      const width = on('32BIT') ? '32BIT ' : on('64BIT') ? '64BIT ' : '';
      return family === undefined ? undefined : `${family}${width}`;
    }
    default:
      return undefined;
  }
}

function familyWord(families: Families, on: OptionOn): string | undefined {
  const word = families.find(([option]) => on(option))?.[1];
  return word === undefined ? undefined : `${word} `;
}

function afterM(word: string): readonly [string, string] {
  return [`M${word}`, word];
}

function afterCpu(word: string): readonly [string, string] {
  return [`CPU_${word}`, word];
}
