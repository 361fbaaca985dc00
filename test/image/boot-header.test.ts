import { describe, expect, it } from 'vitest';

import { checkBootHeader, type HeaderKind } from '../../src/image/boot-header.ts';

/** An image of this many bytes with a text, or a little-endian number, at a place. */
function image(length: number, parts: Readonly<Record<number, string | number>>): Uint8Array {
  const bytes = Buffer.alloc(length);
  for (const [at, part] of Object.entries(parts)) {
    if (typeof part === 'string') bytes.write(part, Number(at), 'latin1');
    else bytes.writeUInt32LE(part, Number(at));
  }
  return bytes;
}

// Documentation/arm64/booting.rst, Documentation/riscv/boot-image-header.rst, arch/arm/boot/compressed/head.S
const sound: Readonly<Record<Exclude<HeaderKind, 'x86'>, Uint8Array>> = {
  arm64: image(64, { 0x38: 'ARM\x64' }),
  riscv: image(64, { 0x38: 'RSC\x05' }),
  zImage: image(4096, { 0x24: 0x016f2818, 0x28: 0, 0x2c: 4096 }),
};

const codes = (bytes: Uint8Array, kind: HeaderKind): readonly string[] =>
  checkBootHeader(bytes, kind).map(({ code }) => code);

describe.each(['arm64', 'riscv', 'zImage'] as const)('an image of %s', (kind) => {
  it('has nothing wrong with it', () => {
    expect(codes(sound[kind], kind)).toEqual([]);
  });

  it('is not one of another architecture, empty, or a few bytes', () => {
    const others = Object.entries(sound).filter(([other]) => other !== kind);
    for (const bytes of [...others.map(([, one]) => one), new Uint8Array(), sound[kind].subarray(0, 63)]) {
      expect(codes(bytes, kind)).toEqual(['image/not-boot-image']);
    }
  });
});

it('a cut-off zImage is told by its header', () => {
  expect(codes(sound.zImage.subarray(0, 4095), 'zImage')).toEqual(['image/truncated']);
});

it('a program for EFI is called so', () => {
  const [said] = checkBootHeader(image(64, { 0: 'MZ' }), 'arm64');
  expect(said?.notes.join()).toContain('EFI');
});

it('an image of x86 has its own reader', () => {
  expect(codes(new Uint8Array(), 'x86')).toEqual(['image/empty']);
});
