/**
 * What the images of several architectures have at their front, so that an emulator is not given something else, on which
 * it would spin without a word. Sources: the kernel's Documentation/arm64/booting.rst ("ARM\x64" at 56) and
 * Documentation/riscv/boot-image-header.rst ("RSC\x05" at 56); arch/arm/boot/compressed/head.S (magic at 36, then where
 * the image begins and ends).
 */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { imageCodes } from './codes.ts';
import { readX86Boot } from './x86-boot.ts';

/** Whose boot loader the image is for. */
export type HeaderKind = 'x86' | 'arm64' | 'riscv' | 'zImage';

const magics = {
  arm64: { at: 0x38, value: 0x644d5241, name: 'an Image for arm64' },
  riscv: { at: 0x38, value: 0x05435352, name: 'an Image for riscv' },
  zImage: { at: 0x24, value: 0x016f2818, name: 'a zImage for arm' },
} as const;

/** What speaks against booting an image, unpacked as its boot loader wants it. */
export function checkBootHeader(bytes: Uint8Array, kind: HeaderKind): readonly Diagnostic[] {
  if (kind === 'x86') return readX86Boot(bytes).diagnostics.filter(({ severity }) => severity === 'error');
  const { at, value, name } = magics[kind];
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (bytes.length < 64 || view.getUint32(at, true) !== value) {
    const isEfi = bytes[0] === 0x4d && bytes[1] === 0x5a;
    return [
      imageCodes.report('image/not-boot-image', {
        message: `this is not ${name}: the mark at byte ${at} is missing`,
        notes: isEfi ? ['It is a program for EFI, which packs the image in a way of its own.'] : [],
        help: isEfi ? 'Boot it where there is EFI firmware, or build without EFI_ZBOOT.' : undefined,
      }),
    ];
  }
  if (kind !== 'zImage') return [];
  const announced = view.getUint32(0x2c, true) - view.getUint32(0x28, true);
  if (bytes.length >= announced) return [];
  return [
    imageCodes.report('image/truncated', {
      message: `the kernel image is cut off: ${bytes.length} bytes of ${announced}`,
      notes: ['Its header says how long it is.'],
      help: 'Copy it again from where it was built, and compare its SHA-256.',
    }),
  ];
}
