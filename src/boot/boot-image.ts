import { gunzipSync } from 'node:zlib';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Emulator } from '../environment/architectures.ts';
import { checkBootHeader } from '../image/boot-header.ts';
import { imageCodes } from '../image/codes.ts';

/** Ten times what kernels have, also with all that can be built into them. */
const mostBytes = 1 << 29;

/**
 * The image as the emulator takes it: where boot loaders unpack a gzipped one (arm64, riscv), QEMU does not always.
 *
 * @throws Failure what is wrong with it: an emulator given an empty or a cut-off image spins without a word until its
 *   time is over
 */
export function bootableImage(bytes: Uint8Array, { header }: Emulator): Uint8Array {
  const image = isGzip(bytes) ? unpacked(bytes) : bytes;
  const errors = checkBootHeader(image, header);
  if (errors.length > 0) throw new Failure(errors);
  return image;
}

function isGzip([first, second]: Uint8Array): boolean {
  return first === 0x1f && second === 0x8b;
}

function unpacked(bytes: Uint8Array): Uint8Array {
  try {
    return gunzipSync(bytes, { maxOutputLength: mostBytes });
  } catch (cause) {
    throw new Failure(
      imageCodes.report('image/truncated', {
        message:
          'the kernel image is cut off or damaged, or larger than any kernel: it cannot be unpacked by gzip',
        help: 'Copy it again from where it was built, and compare its SHA-256.',
      }),
      { cause },
    );
  }
}
