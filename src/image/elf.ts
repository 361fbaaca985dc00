/**
 * The few facts of an ELF file that are needed here: what machine it is for, whether it asks for an interpreter
 * (a dynamic loader), and where a section lies. Source: the System V ABI, "Object Files"; elf(5).
 * 64-bit and 32-bit, both byte orders. Hostile input is answered with diagnostics.
 */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { imageCodes } from './codes.ts';

export interface ElfSection {
  readonly name: string;
  readonly offset: number;
  readonly length: number;
}

export interface Elf {
  readonly bits: 32 | 64;
  readonly endian: 'little' | 'big';
  /** e_type: 1 relocatable, 2 executable, 3 shared object or position-independent executable. */
  readonly type: number;
  /** e_machine: 62 is x86-64. */
  readonly machine: number;
  /** Has a PT_INTERP segment: a dynamically linked program. */
  readonly hasInterpreter: boolean;
  /** Those that lie within the file. */
  readonly sections: readonly ElfSection[];
}

export interface ElfReading {
  readonly value?: Elf;
  readonly diagnostics: readonly Diagnostic[];
}

const interpreterSegment = 3;
/** SHT_NOBITS: takes no room in the file. */
const noBits = 8;

/** Reads the header and the tables of an ELF file; reports `image/not-elf`. */
export function readElf(bytes: Uint8Array): ElfReading {
  const [m0, m1, m2, m3, elfClass, data] = bytes;
  if (m0 !== 0x7f || m1 !== 0x45 || m2 !== 0x4c || m3 !== 0x46)
    return refused('it does not begin with \\x7fELF');
  if ((elfClass !== 1 && elfClass !== 2) || (data !== 1 && data !== 2)) {
    return refused('its class or byte order is unknown');
  }
  const layout = elfClass === 2 ? layout64 : layout32;
  if (bytes.length < layout.headerSize) return refused('it ends within its header');
  const file: File = {
    bytes,
    view: new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength),
    little: data === 1,
  };

  const segments = readTable(file, layout, layout.segments);
  const headers = readTable(file, layout, layout.sections);
  if (!segments || !headers) return refused('a table of its header points outside of the file');
  const value: Elf = {
    bits: elfClass === 2 ? 64 : 32,
    endian: file.little ? 'little' : 'big',
    type: u16(file, 16),
    machine: u16(file, 18),
    hasInterpreter: segments.some((at) => u32(file, at) === interpreterSegment),
    sections: readSections(file, layout, headers),
  };
  return { value, diagnostics: [] };
}

interface File {
  readonly bytes: Uint8Array;
  readonly view: DataView;
  readonly little: boolean;
}

interface TableLayout {
  /** Where the header says where the table is, how large an entry is, and how many there are. */
  readonly offsetAt: number;
  readonly sizeAt: number;
  readonly countAt: number;
  readonly entrySize: number;
}

interface Layout {
  readonly headerSize: number;
  readonly wide: boolean;
  readonly segments: TableLayout;
  readonly sections: TableLayout;
  readonly namesIndexAt: number;
  /** Within a section header. */
  readonly sectionOffsetAt: number;
  readonly sectionSizeAt: number;
}

const layout64: Layout = {
  headerSize: 64,
  wide: true,
  segments: { offsetAt: 32, sizeAt: 54, countAt: 56, entrySize: 56 },
  sections: { offsetAt: 40, sizeAt: 58, countAt: 60, entrySize: 64 },
  namesIndexAt: 62,
  sectionOffsetAt: 24,
  sectionSizeAt: 32,
};

const layout32: Layout = {
  headerSize: 52,
  wide: false,
  segments: { offsetAt: 28, sizeAt: 42, countAt: 44, entrySize: 32 },
  sections: { offsetAt: 32, sizeAt: 46, countAt: 48, entrySize: 40 },
  namesIndexAt: 50,
  sectionOffsetAt: 16,
  sectionSizeAt: 20,
};

/** Offsets of the entries of a table, or `undefined` when it does not lie within the file. */
function readTable(file: File, layout: Layout, table: TableLayout): readonly number[] | undefined {
  const offset = word(file, table.offsetAt, layout.wide);
  const size = u16(file, table.sizeAt);
  const count = u16(file, table.countAt);
  if (count === 0 || offset === 0) return [];
  if (size < table.entrySize || offset + size * count > file.bytes.length) return undefined;
  return Array.from({ length: count }, (_, index) => offset + index * size);
}

function readSections(file: File, layout: Layout, headers: readonly number[]): ElfSection[] {
  const within = (at: number): { offset: number; length: number } | undefined => {
    const offset = word(file, at + layout.sectionOffsetAt, layout.wide);
    const length = word(file, at + layout.sectionSizeAt, layout.wide);
    return u32(file, at + 4) !== noBits && offset + length <= file.bytes.length
      ? { offset, length }
      : undefined;
  };
  const namesHeader = headers[u16(file, layout.namesIndexAt)];
  const names = namesHeader === undefined ? undefined : within(namesHeader);
  if (!names) return [];
  const table = file.bytes.subarray(names.offset, names.offset + names.length);
  return headers.flatMap((at) => {
    const place = within(at);
    return place ? [{ name: textAt(table, u32(file, at)), ...place }] : [];
  });
}

/** Section names are short; a stranger's table may be one long text that every section points into. */
const longestName = 256;

function textAt(table: Uint8Array, start: number): string {
  const rest = table.subarray(start, start + longestName);
  const end = rest.indexOf(0);
  return Array.from(rest.subarray(0, Math.max(end, 0)), (byte) => String.fromCharCode(byte)).join('');
}

function u16(file: File, at: number): number {
  return file.view.getUint16(at, file.little);
}

function u32(file: File, at: number): number {
  return file.view.getUint32(at, file.little);
}

/** An address-sized number. One beyond 2^53 loses its last bits, and points outside of any file all the same. */
function word(file: File, at: number, wide: boolean): number {
  return wide ? Number(file.view.getBigUint64(at, file.little)) : u32(file, at);
}

function refused(why: string): ElfReading {
  return {
    diagnostics: [imageCodes.report('image/not-elf', { message: `this is not an ELF file: ${why}` })],
  };
}
