import { gzipSync } from 'node:zlib';

import { expect, it } from 'vitest';

import { bootableImage } from '../../src/boot/boot-image.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { architectureFacts } from '../../src/environment/architectures.ts';

const emulator = architectureFacts('arm64').boot?.emulator;

function codeOf(bytes: Uint8Array): string | undefined {
  if (!emulator) throw new Error('arm64 is booted no longer');
  try {
    bootableImage(bytes, emulator);
    return undefined;
  } catch (error) {
    return error instanceof Failure ? error.diagnostics[0]?.code : String(error);
  }
}

/** Documentation/arch/arm64/booting.rst of the kernel: 64 bytes, the magic number at 56. */
function image(size: number): Buffer {
  const bytes = Buffer.alloc(size);
  bytes.writeBigUInt64LE(BigInt(size), 16);
  bytes.write('ARM\x64', 56, 'latin1');
  return bytes;
}

it('an image is taken as it is, and out of gzip', () => {
  expect([image(4096), gzipSync(image(4096))].map(codeOf)).toEqual([undefined, undefined]);
});

it('one that is cut off, damaged, or none of a kernel is refused', () => {
  const packed = gzipSync(image(4096));
  expect(codeOf(packed.subarray(0, -10))).toBe('image/truncated');
  expect(codeOf(Buffer.from([0x1f, 0x8b, 1, 2, 3]))).toBe('image/truncated');
  expect(codeOf(gzipSync(Buffer.alloc(4096)))).toMatch(/^image\//);
});

// RFC 1952 section 2.2: members of a gzip file simply stand one behind the other
it('what unpacks to more than any kernel is not unpacked', () => {
  const member = gzipSync(Buffer.alloc(1 << 24));
  expect(codeOf(Buffer.concat(Array.from({ length: 40 }, () => member)))).toBe('image/truncated');
});
