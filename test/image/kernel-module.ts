/** Makes ELF files by hand, after elf(5): programs that do one thing, and modules that hold a .modinfo and nothing else. */

/** A relocatable 64-bit file with the sections given, and their name table. */
export function elfObject(sections: Readonly<Record<string, Uint8Array>>): Uint8Array {
  const names = ['', ...Object.keys(sections), '.shstrtab'];
  const table = new TextEncoder().encode(names.map((name) => `${name}\0`).join(''));
  const contents = [new Uint8Array(0), ...Object.values(sections), table];
  const size = contents.reduce((sum, one) => sum + one.length, 64);
  const bytes = new Uint8Array(size + 64 * contents.length);
  const view = new DataView(bytes.buffer);
  bytes.set([0x7f, 0x45, 0x4c, 0x46, 2, 1, 1]);
  view.setUint16(16, 1, true);
  view.setUint16(18, 62, true);
  view.setUint32(20, 1, true);
  view.setBigUint64(40, BigInt(size), true);
  view.setUint16(52, 64, true);
  view.setUint16(58, 64, true);
  view.setUint16(60, contents.length, true);
  view.setUint16(62, contents.length - 1, true);
  let at = 64;
  let name = 0;
  for (const [index, content] of contents.entries()) {
    const header = size + 64 * index;
    bytes.set(content, at);
    view.setUint32(header, name, true);
    view.setUint32(header + 4, index === 0 ? 0 : index === contents.length - 1 ? 3 : 1, true);
    view.setBigUint64(header + 24, BigInt(index === 0 ? 0 : at), true);
    view.setBigUint64(header + 32, BigInt(content.length), true);
    at += content.length;
    name += (names[index]?.length ?? 0) + 1;
  }
  return bytes;
}

/** A file that says of itself what a module says, without code. */
export function kernelModule(info: Readonly<Record<string, string>>): Uint8Array {
  const text = Object.entries(info)
    .map(([key, value]) => `${key}=${value}\0`)
    .join('');
  return elfObject({ '.modinfo': new TextEncoder().encode(text) });
}

export interface ProgramShape {
  readonly code: readonly number[];
  readonly machine?: number;
  /** A PT_INTERP segment, as a dynamically linked program has it. */
  readonly interpreter?: boolean;
}

/** A statically linked program for x86-64 that consists of `code`. */
export function elfProgram({ code, machine = 62, interpreter = false }: ProgramShape): Uint8Array {
  const base = 0x400000n;
  const headers = 64 + 2 * 56;
  const bytes = new Uint8Array(headers + code.length);
  const view = new DataView(bytes.buffer);
  bytes.set([0x7f, 0x45, 0x4c, 0x46, 2, 1, 1]);
  view.setUint16(16, 2, true);
  view.setUint16(18, machine, true);
  view.setUint32(20, 1, true);
  view.setBigUint64(24, base + BigInt(headers), true);
  view.setBigUint64(32, 64n, true);
  view.setUint16(52, 64, true);
  view.setUint16(54, 56, true);
  view.setUint16(56, interpreter ? 2 : 1, true);
  // PT_LOAD of the whole file, readable and executable; then, perhaps, PT_INTERP.
  view.setUint32(64, 1, true);
  view.setUint32(68, 5, true);
  view.setBigUint64(80, base, true);
  view.setBigUint64(88, base, true);
  view.setBigUint64(96, BigInt(bytes.length), true);
  view.setBigUint64(104, BigInt(bytes.length), true);
  view.setBigUint64(112, 0x1000n, true);
  view.setUint32(120, 3, true);
  bytes.set(code, headers);
  return bytes;
}

/** mov $60,%eax; mov $3,%edi; syscall: exit(3). */
export const exitThree: readonly number[] = [0xb8, 60, 0, 0, 0, 0xbf, 3, 0, 0, 0, 0x0f, 0x05];
/** jmp to itself. */
export const forever: readonly number[] = [0xeb, 0xfe];
