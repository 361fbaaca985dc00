/** Makes images with a boot header after Documentation/arch/x86/boot.rst, and nothing of a kernel behind it. */

export interface BzImageShape {
  /** (major << 8) + minor. */
  readonly protocol?: number;
  readonly setupSectors?: number;
  readonly version?: string;
  /** Where the version string lies, as the header says it: less 0x200. */
  readonly versionAt?: number;
  /** Bytes of protected-mode code, a multiple of 16. */
  readonly code?: number;
  readonly payload?: { readonly offset: number; readonly length: number };
  readonly xloadflags?: number;
  /** Real-mode code that runs when the image is started, at the usual place behind the header. */
  readonly start?: readonly number[];
}

export const usualVersion =
  '6.1.192-otter (gauge@otter-bank) #1 SMP PREEMPT_DYNAMIC Thu Jan  1 00:00:00 UTC 2026';

const codeAt = 0x280;

export function bzImage(shape: BzImageShape = {}): Uint8Array {
  const {
    protocol = 0x020f,
    setupSectors = 15,
    version = usualVersion,
    versionAt = 0x1000,
    code = 4096,
  } = shape;
  const setup = ((setupSectors || 4) + 1) * 512;
  const bytes = new Uint8Array(setup + code);
  const view = new DataView(bytes.buffer);
  view.setUint8(0x1f1, setupSectors);
  view.setUint32(0x1f4, code / 16, true);
  view.setUint16(0x1fe, 0xaa55, true);
  // jmp short, to behind the header
  bytes.set([0xeb, codeAt - 0x202], 0x200);
  view.setUint32(0x202, 0x53726448, true);
  view.setUint16(0x206, protocol, true);
  view.setUint16(0x20e, versionAt, true);
  view.setUint8(0x211, 1);
  view.setUint32(0x22c, 0x7fffffff, true);
  view.setUint8(0x234, 1);
  view.setUint16(0x236, shape.xloadflags ?? 0x3f, true);
  view.setUint32(0x238, 2047, true);
  view.setUint32(0x248, shape.payload?.offset ?? 64, true);
  view.setUint32(0x24c, shape.payload?.length ?? 1024, true);
  view.setBigUint64(0x258, 0x1000000n, true);
  view.setUint32(0x260, 0x100000, true);
  view.setUint32(0x268, 2048, true);
  bytes.set(shape.start ?? [], codeAt);
  if (versionAt > 0 && versionAt + 0x200 + version.length < setup) {
    bytes.set(new TextEncoder().encode(version), versionAt + 0x200);
  }
  return bytes;
}
