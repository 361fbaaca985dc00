/**
 * The header at the front of a bzImage: what a boot loader reads before it loads the kernel.
 * Source: the kernel's Documentation/arch/x86/boot.rst ("The Linux/x86 Boot Protocol"). All numbers are little-endian.
 */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { printable } from '../diagnostics/printable.ts';
import { imageCodes } from './codes.ts';

export interface X86KernelVersion {
  /** The whole string as it stands in the image. */
  readonly text: string;
  /** What `uname -r` says. */
  readonly release: string;
  /** `USER@HOST` of the build. */
  readonly builder: string;
  /** What `uname -v` says: `#1 SMP …`. */
  readonly version: string;
}

export interface X86Boot {
  readonly protocol: { readonly major: number; readonly minor: number };
  /** 512-byte sectors of setup code behind the boot sector. */
  readonly setupSectors: number;
  /** Where the protected-mode code begins, in bytes from the start of the file. */
  readonly protectedModeOffset: number;
  /** Bytes of protected-mode code, a multiple of 16. */
  readonly protectedModeLength: number;
  /** `bzImage`: loaded above the first megabyte. Without it the image is a zImage. */
  readonly loadedHigh: boolean;
  /** Absent when the image names none, or in a shape of its own. */
  readonly kernelVersion?: X86KernelVersion;
  readonly relocatable: boolean;
  /** Longest command line in bytes, without the NUL. */
  readonly commandLineSize: number;
  readonly loadFlags: {
    /** Has the 64-bit entry point at 0x200. */
    readonly kernel64: boolean;
    /** Kernel, parameters and initial ramdisk may lie above 4 GiB. */
    readonly above4G: boolean;
    readonly efiHandover32: boolean;
    readonly efiHandover64: boolean;
    readonly efiKexec: boolean;
    /** Knows five-level page tables, and has them switched on. */
    readonly fiveLevel: boolean;
    readonly fiveLevelEnabled: boolean;
  };
  /** The compressed kernel: bytes from the start of the file. Absent when the header names none. */
  readonly payload?: { readonly offset: number; readonly length: number };
  /** Preferred load address and memory needed from there, in bytes; zero before protocol 2.10. */
  readonly preferredAddress: bigint;
  readonly initSize: number;
  /** From the start of the protected-mode code; zero when there is none. */
  readonly kernelInfoOffset: number;
}

export interface X86BootReading {
  /** Absent when the bytes are no such image. Present beside `image/truncated`: the header itself was whole. */
  readonly value?: X86Boot;
  readonly diagnostics: readonly Diagnostic[];
}

const sector = 512;
/** End of the last field that is read, `kernel_info_offset`. */
const headerEnd = 0x26c;
/** "HdrS" */
const magic = 0x53726448;
const protocol208 = 0x0208;
/** From here on the text is not searched further for its NUL: the longest release and version take 64 bytes each. */
const longestVersionText = 1024;

/**
 * Reads the boot header of `bytes`, a whole bzImage. Never throws, whatever the bytes are: it reports
 * `image/empty`, `image/not-x86-boot`, `image/old-protocol`, `image/truncated` and `image/bad-field`.
 */
export function readX86Boot(bytes: Uint8Array): X86BootReading {
  const wrong = refuse(bytes);
  if (wrong) return { diagnostics: [wrong] };
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const protocol = view.getUint16(0x206, true);
  const since = (version: number): boolean => protocol >= version;
  const setupSectors = view.getUint8(0x1f1) || 4;
  const protectedModeOffset = (setupSectors + 1) * sector;
  const protectedModeLength = view.getUint32(0x1f4, true) * 16;
  const xloadflags = since(0x020c) ? view.getUint16(0x236, true) : 0;
  const diagnostics: Diagnostic[] = [];

  const value: X86Boot = {
    protocol: { major: protocol >> 8, minor: protocol & 0xff },
    setupSectors,
    protectedModeOffset,
    protectedModeLength,
    loadedHigh: (view.getUint8(0x211) & 1) !== 0,
    ...readKernelVersion(bytes, view.getUint16(0x20e, true), setupSectors, diagnostics),
    relocatable: view.getUint8(0x234) !== 0,
    commandLineSize: view.getUint32(0x238, true),
    loadFlags: {
      kernel64: (xloadflags & 0x01) !== 0,
      above4G: (xloadflags & 0x02) !== 0,
      efiHandover32: (xloadflags & 0x04) !== 0,
      efiHandover64: (xloadflags & 0x08) !== 0,
      efiKexec: (xloadflags & 0x10) !== 0,
      fiveLevel: (xloadflags & 0x20) !== 0,
      fiveLevelEnabled: (xloadflags & 0x40) !== 0,
    },
    ...readPayload(view, protectedModeOffset, protectedModeLength, diagnostics),
    preferredAddress: since(0x020a) ? view.getBigUint64(0x258, true) : 0n,
    initSize: since(0x020a) ? view.getUint32(0x260, true) : 0,
    kernelInfoOffset: since(0x020f) ? view.getUint32(0x268, true) : 0,
  };
  // Signed images are longer than this: the signature is appended.
  const announced = protectedModeOffset + protectedModeLength;
  if (bytes.length < announced) diagnostics.push(truncated(bytes.length, announced));
  return { value, diagnostics };
}

function refuse(bytes: Uint8Array): Diagnostic | undefined {
  if (bytes.length === 0) {
    return imageCodes.report('image/empty', {
      message: 'the kernel image is empty: 0 bytes',
      notes: ['An emulator that is given such a file spins without a word.'],
      help: 'Build it again, or copy it again from where it was built.',
    });
  }
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (
    bytes.length < 0x206 ||
    view.getUint16(0x1fe, true) !== 0xaa55 ||
    view.getUint32(0x202, true) !== magic
  ) {
    return imageCodes.report('image/not-x86-boot', {
      message:
        'this is not a Linux kernel image for x86: the boot header with `HdrS` at byte 0x202 is missing',
      help: 'Give the file that the kernel builds as arch/x86/boot/bzImage; a vmlinux is an ELF file and no boot image.',
    });
  }
  if (bytes.length < headerEnd) return truncated(bytes.length, headerEnd);
  const protocol = view.getUint16(0x206, true);
  if (protocol >= protocol208) return undefined;
  return imageCodes.report('image/old-protocol', {
    message: `the image speaks boot protocol ${protocol >> 8}.${pad2(protocol & 0xff)}; 2.08 is the oldest that is read`,
    notes: ['Protocol 2.08 came with Linux 2.6.26.'],
  });
}

function pad2(value: number): string {
  return String(value).padStart(2, '0');
}

function truncated(length: number, announced: number): Diagnostic {
  return imageCodes.report('image/truncated', {
    message: `the kernel image is cut off: ${length} bytes of ${announced}`,
    notes: ['Its boot header says how long the code behind it is.'],
    help: 'Copy it again from where it was built, and compare its SHA-256.',
  });
}

function readPayload(
  view: DataView,
  protectedModeOffset: number,
  protectedModeLength: number,
  diagnostics: Diagnostic[],
): Pick<X86Boot, 'payload'> {
  const offset = view.getUint32(0x248, true);
  const length = view.getUint32(0x24c, true);
  if (offset === 0) return {};
  if (offset + length > protectedModeLength) {
    diagnostics.push(
      imageCodes.report('image/bad-field', {
        message: `the payload is said to end ${offset + length} bytes into the code, which has ${protectedModeLength}`,
      }),
    );
    return {};
  }
  return { payload: { offset: protectedModeOffset + offset, length } };
}

/** `RELEASE (USER@HOST) #1 …`: arch/x86/boot/version.c. */
const versionShape = /^(?<release>\S+) \((?<builder>.*?)\) (?<version>#.*)$/s;

function readKernelVersion(
  bytes: Uint8Array,
  pointer: number,
  setupSectors: number,
  diagnostics: Diagnostic[],
): Pick<X86Boot, 'kernelVersion'> {
  if (pointer === 0) return {};
  const start = pointer + 0x200;
  const setup = bytes.subarray(0, (setupSectors + 1) * sector);
  const end = setup.indexOf(0, start);
  if (start >= setup.length || end < 0 || end - start > longestVersionText) {
    diagnostics.push(
      imageCodes.report('image/bad-field', {
        message: `the version string is said to begin at byte ${start}, but no text ends behind it within the setup code`,
      }),
    );
    return {};
  }
  const text = latin1(setup.subarray(start, end));
  const { release, builder, version } = versionShape.exec(text)?.groups ?? {};
  if (release !== undefined && builder !== undefined && version !== undefined) {
    return { kernelVersion: { text, release, builder, version } };
  }
  diagnostics.push(
    imageCodes.report('image/bad-field', {
      message: `the version string ${JSON.stringify(printable(text.slice(0, 80)))} has an unusual form`,
      notes: ['The kernel writes `RELEASE (USER@HOST) #NUMBER …`.'],
    }),
  );
  return {};
}

function latin1(bytes: Uint8Array): string {
  return Array.from(bytes, (byte) => String.fromCharCode(byte)).join('');
}
