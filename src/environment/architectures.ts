/**
 * The architectures of kernels, and all that is to be known of each in one place: compiler, image, machine code,
 * emulator. Their names are what make takes in `ARCH`.
 *
 * A compiler of Debian makes code for every word size and byte order of its architecture, and the kernel's Makefiles say
 * which one is wanted (`-m32`, `-mbig-endian`, `-EB`, `-mabi=…`). So powerpc and mips have one compiler each, and what the
 * kernel is for is decided by its configuration alone.
 *
 * Sources: images, the kernel's arch/ARCH/Makefile (`KBUILD_IMAGE`; what has none there is `vmlinux`, by the top
 * Makefile), as `make image_name` prints them; compilers, Debian's packages; numbers of machines, elf(5).
 */

/** Those that kernels are built for, then those whose configuration alone can be worked out here. */
export const architectures = [
  'x86_64',
  'i386',
  'arm64',
  'arm',
  'riscv',
  'powerpc',
  's390',
  'mips',
  'alpha',
  'arc',
  'csky',
  'hexagon',
  'loongarch',
  'm68k',
  'microblaze',
  'nios2',
  'openrisc',
  'parisc',
  'sh',
  'sparc',
  'xtensa',
] as const;
export type Architecture = (typeof architectures)[number];

/**
 * What the compilers run on, as Debian calls it (`dpkg-architecture -L`): the environment is the same whatever the kernel
 * is for.
 */
export const buildMachine = 'amd64';

/** Tells whether an option of a configuration is y. */
export type OptionOn = (option: string) => boolean;

/** How a kernel image begins that a boot loader of the architecture takes. */
export type ImageHeader = 'x86' | 'arm64' | 'riscv' | 'zImage';

/** A machine in QEMU that has a serial port and little else. */
export interface Emulator {
  readonly header: ImageHeader;
  readonly program: string;
  readonly machine: string;
  /** CPU model without and with hardware virtualisation. */
  readonly cpu: { readonly tcg: string; readonly kvm: string };
  /** Where KVM can run it: the processor of this machine, as Node calls it. */
  readonly kvmOn: readonly string[];
  /** The serial port, as the kernel's `console=` calls it. */
  readonly console: string;
  /** Options without which there is nothing to be seen of this machine's console, and why. */
  readonly options: Readonly<Record<string, string>>;
  /** Debian's package of the program. */
  readonly package: string;
}

/** What tells programs for an architecture from others. */
export interface MachineCode {
  /** `e_machine` of its ELF files. */
  readonly elf: number;
  readonly bits: 32 | 64;
  /** Debian's name of the architecture of programs that run in the emulator. */
  readonly debian: string;
}

/** What a kernel takes to be built. */
export interface BuildFacts {
  /** What the names of compiler and binutils begin with, without the dash; absent: Debian's plain ones make such code. */
  readonly cross?: string;
  /** Path in the tree of the image that the tree makes by default. */
  readonly image: (on: OptionOn) => string;
}

export interface ArchitectureFacts {
  /** Absent where no kernel is built here. */
  readonly build?: BuildFacts;
  /** The tree has sources of device trees for its machines (arch/ARCH/boot/dts). */
  readonly deviceTrees?: true;
  /** Absent where no kernel is booted here. */
  readonly boot?: { readonly code: MachineCode; readonly emulator: Emulator };
}

const pc = {
  header: 'x86',
  machine: 'q35',
  kvmOn: ['x64'],
  console: 'ttyS0',
  package: 'qemu-system-x86',
} as const;

const serialPort = {
  SERIAL_8250: 'the serial port of the emulated machine',
  SERIAL_8250_CONSOLE: 'messages go to the serial port',
} as const;

const armSerialPort = {
  SERIAL_AMBA_PL011: 'the serial port of the emulated machine',
  SERIAL_AMBA_PL011_CONSOLE: 'messages go to the serial port',
} as const;

const bits64 = 'the programs of the proof are 64-bit';

/** The image of riscv is packed as the configuration says, since trees have that choice. */
const riscvPacking: readonly (readonly [option: string, suffix: string])[] = [
  ['KERNEL_BZIP2', '.bz2'],
  ['KERNEL_LZ4', '.lz4'],
  ['KERNEL_LZMA', '.lzma'],
  ['KERNEL_LZO', '.lzo'],
  ['KERNEL_ZSTD', '.zst'],
  ['KERNEL_XZ', '.xz'],
  ['KERNEL_UNCOMPRESSED', ''],
];

function riscvImage(on: OptionOn): string {
  if (on('XIP_KERNEL')) return 'xipImage';
  if (on('RISCV_M_MODE') && (on('SOC_CANAAN') || on('SOC_CANAAN_K210'))) return 'loader.bin';
  if (on('EFI_ZBOOT')) return 'vmlinuz.efi';
  return `Image${riscvPacking.find(([option]) => on(option))?.[1] ?? '.gz'}`;
}

const built: Readonly<Partial<Record<Architecture, ArchitectureFacts>>> = {
  x86_64: {
    build: { image: () => 'arch/x86/boot/bzImage' },
    boot: {
      code: { elf: 62, bits: 64, debian: 'amd64' },
      emulator: {
        ...pc,
        program: 'qemu-system-x86_64',
        cpu: { tcg: 'qemu64', kvm: 'max' },
        options: { '64BIT': bits64, ...serialPort },
      },
    },
  },
  i386: {
    build: { image: () => 'arch/x86/boot/bzImage' },
    boot: {
      code: { elf: 3, bits: 32, debian: 'i386' },
      emulator: {
        ...pc,
        program: 'qemu-system-i386',
        cpu: { tcg: 'qemu32', kvm: 'max' },
        options: serialPort,
      },
    },
  },
  arm64: {
    deviceTrees: true,
    build: {
      cross: 'aarch64-linux-gnu',
      image: (on) => `arch/arm64/boot/${on('EFI_ZBOOT') ? 'vmlinuz.efi' : 'Image.gz'}`,
    },
    boot: {
      code: { elf: 183, bits: 64, debian: 'arm64' },
      emulator: {
        header: 'arm64',
        program: 'qemu-system-aarch64',
        machine: 'virt',
        cpu: { tcg: 'cortex-a57', kvm: 'host' },
        kvmOn: ['arm64'],
        console: 'ttyAMA0',
        options: armSerialPort,
        package: 'qemu-system-arm',
      },
    },
  },
  arm: {
    deviceTrees: true,
    build: {
      cross: 'arm-linux-gnueabihf',
      image: (on) => `arch/arm/boot/${on('XIP_KERNEL') ? 'xipImage' : 'zImage'}`,
    },
    boot: {
      code: { elf: 40, bits: 32, debian: 'armhf' },
      emulator: {
        header: 'zImage',
        program: 'qemu-system-arm',
        machine: 'virt',
        cpu: { tcg: 'cortex-a15', kvm: 'host' },
        kvmOn: ['arm'],
        console: 'ttyAMA0',
        options: {
          ARCH_VIRT: 'the emulated machine is one of its kind',
          VFP: 'the programs of the proof count with floating point',
          ...armSerialPort,
        },
        package: 'qemu-system-arm',
      },
    },
  },
  riscv: {
    deviceTrees: true,
    build: { cross: 'riscv64-linux-gnu', image: (on) => `arch/riscv/boot/${riscvImage(on)}` },
    boot: {
      code: { elf: 243, bits: 64, debian: 'riscv64' },
      emulator: {
        header: 'riscv',
        program: 'qemu-system-riscv64',
        machine: 'virt',
        cpu: { tcg: 'rv64', kvm: 'host' },
        kvmOn: ['riscv64'],
        console: 'ttyS0',
        options: {
          '64BIT': bits64,
          FPU: 'the programs of the proof count with floating point',
          ...serialPort,
          SERIAL_OF_PLATFORM: 'the serial port is in the device tree',
        },
        package: 'qemu-system-misc',
      },
    },
  },
  powerpc: { deviceTrees: true, build: { cross: 'powerpc64le-linux-gnu', image: () => 'vmlinux' } },
  s390: { build: { cross: 's390x-linux-gnu', image: () => 'arch/s390/boot/bzImage' } },
  mips: { deviceTrees: true, build: { cross: 'mips64el-linux-gnuabi64', image: () => 'vmlinux' } },
};

/** What is known of an architecture. */
export function architectureFacts(arch: Architecture): ArchitectureFacts {
  return built[arch] ?? {};
}

/**
 * Debian's name of the machines that a kernel is for, as the kernel's own packages have it (scripts/package/mkdebian).
 *
 * @throws Error for an architecture that nothing is built for
 */
export function debianArchitecture(arch: Architecture, on: OptionOn): string {
  const width = on('64BIT') ? '64' : '';
  const little = on('CPU_LITTLE_ENDIAN') ? 'el' : '';
  switch (arch) {
    case 'x86_64':
    case 'i386':
      return on('X86_64') ? 'amd64' : 'i386';
    case 'arm64':
      return 'arm64';
    case 'arm':
      return on('AEABI') ? (on('VFP') ? 'armhf' : 'armel') : 'arm';
    case 'riscv':
      return on('64BIT') ? 'riscv64' : 'riscv32';
    case 's390':
      return 's390x';
    case 'powerpc':
      return on('64BIT') ? `ppc64${little}` : on('SPE') ? 'powerpcspe' : 'powerpc';
    case 'mips': {
      const release = on('CPU_MIPSR6') ? 'r6' : '';
      return little || release ? `mips${width}${release}${little}` : 'mips';
    }
    default:
      throw new Error(`no kernel is built for ${arch}`);
  }
}

/** The folder below `arch/` that has an architecture for which kernels are built (SRCARCH of the top Makefile). */
export function sourceFolder(arch: Architecture): string {
  return arch === 'x86_64' || arch === 'i386' ? 'x86' : arch;
}

/** Those for which kernels are built. */
export const builtArchitectures: readonly Architecture[] = architectures.filter(
  (arch) => architectureFacts(arch).build !== undefined,
);

/** Those whose kernels are booted in an emulator. */
export const bootedArchitectures: readonly Architecture[] = architectures.filter(
  (arch) => architectureFacts(arch).boot !== undefined,
);

/** Every file name that an image can have. */
export const imageNames: ReadonlySet<string> = new Set([
  ...['bzImage', 'Image.gz', 'vmlinuz.efi', 'zImage', 'xipImage', 'loader.bin', 'vmlinux'],
  ...riscvPacking.map(([, suffix]) => `Image${suffix}`),
]);
