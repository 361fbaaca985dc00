/**
 * Binary changes as git writes them (`git diff --binary`): the content in full, or a delta to the old one, deflated and
 * in base 85, with the way back behind it. The format is in git's own sources alone (diff.c, base85.c, patch-delta.c).
 */
import type { Line } from './read-hunk.ts';

/** What comes in from outside, since the room is pure: zlib and SHA-1. */
export interface Decoding {
  /** Inflates a zlib stream that yields so many bytes; `undefined` when it does not. */
  inflate(data: Uint8Array, size: number): Uint8Array | undefined;
  /** What git calls a file of this content (latin1): SHA-1, in hexadecimal digits, of `blob SIZE NUL CONTENT`. */
  gitBlob(content: string): string;
}

export interface BinaryBlock {
  readonly kind: 'literal' | 'delta';
  /** Bytes when inflated. */
  readonly size: number;
  /** Deflated. */
  readonly data: Uint8Array;
}

export interface BinaryChange {
  readonly forward: BinaryBlock;
  /** The way back. */
  readonly backward: BinaryBlock | undefined;
}

/** Bytes of a file that a change may come to: nothing in a kernel's tree has a tenth of it. */
const largestFile = 64 << 20;

/**
 * @param at the line behind `GIT binary patch`
 * @returns what is wrong with it, or the change and where the patch goes on
 */
export function readBinaryChange(
  lines: readonly Line[],
  at: number,
): { readonly change: BinaryChange; readonly next: number } | string {
  const forward = readBlock(lines, at);
  if (typeof forward === 'string') return forward;
  if (forward === undefined) return 'no data follow "GIT binary patch"';
  const backward = readBlock(lines, forward.next);
  if (typeof backward === 'string') return backward;
  return {
    change: { forward: forward.block, backward: backward?.block },
    next: backward?.next ?? forward.next,
  };
}

function readBlock(
  lines: readonly Line[],
  at: number,
): { readonly block: BinaryBlock; readonly next: number } | string | undefined {
  const [, kind, digits] = /^(literal|delta) (\d{1,9})\r?$/.exec(lines[at]?.text ?? '') ?? [];
  if (digits === undefined) return undefined;
  const size = Number(digits);
  if (size > largestFile) return 'the binary data are larger than any file of a kernel';
  const pieces: Uint8Array[] = [];
  let next = at + 1;
  for (; next < lines.length; next += 1) {
    const text = lines[next]?.text.replace(/\r$/, '') ?? '';
    if (text === '') break;
    const piece = decodeLine(text);
    if (!piece) return 'a line of its binary data is no base 85, or cut off';
    pieces.push(piece);
  }
  const block = { kind: kind === 'delta' ? kind : 'literal', size, data: joined(pieces) } as const;
  // a blank line ends it
  return { block, next: next + 1 };
}

function joined(pieces: readonly Uint8Array[]): Uint8Array {
  const whole = new Uint8Array(pieces.reduce((sum, { length }) => sum + length, 0));
  let at = 0;
  for (const piece of pieces) {
    whole.set(piece, at);
    at += piece.length;
  }
  return whole;
}

const digits85 = new Map(
  [...'0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz!#$%&()*+-;<=>?@^_`{|}~'].map(
    (digit, value) => [digit, value] as const,
  ),
);

/** A letter for the number of bytes (A is 1, z is 52), then five digits for each four of them. */
function decodeLine(text: string): Uint8Array | undefined {
  const letter = text.charCodeAt(0);
  const length = letter >= 97 ? letter - 70 : letter - 64;
  if (!/^[A-Za-z]/.test(text) || text.length !== 1 + 5 * Math.ceil(length / 4)) return undefined;
  const bytes = new Uint8Array(4 * Math.ceil(length / 4));
  const view = new DataView(bytes.buffer);
  for (let group = 0; group < bytes.length / 4; group += 1) {
    let value = 0;
    for (const digit of text.slice(1 + 5 * group, 6 + 5 * group)) {
      const found = digits85.get(digit);
      if (found === undefined) return undefined;
      value = value * 85 + found;
    }
    if (value > 0xff_ff_ff_ff) return undefined;
    view.setUint32(4 * group, value);
  }
  return bytes.subarray(0, length);
}

/**
 * The new content, in latin1.
 *
 * @param old the content that it is made of, in latin1
 * @returns `undefined` when the data are damaged or belong to another content
 */
export function applyBinary(
  old: string,
  { kind, size, data }: BinaryBlock,
  { inflate }: Decoding,
): string | undefined {
  const bytes = inflate(data, size);
  if (bytes?.length !== size) return undefined;
  const text = latin1(bytes);
  return kind === 'literal' ? text : applyDelta(old, text);
}

function latin1(bytes: Uint8Array): string {
  let text = '';
  for (let at = 0; at < bytes.length; at += 8192) {
    text += String.fromCharCode(...bytes.subarray(at, at + 8192));
  }
  return text;
}

function applyDelta(old: string, delta: string): string | undefined {
  let at = 0;
  const byte = (): number => delta.charCodeAt(at++);
  /** Seven bits at a time, the lowest first. */
  const readSize = (): number => {
    let size = 0;
    for (let factor = 1; factor <= 2 ** 42; factor *= 128) {
      const bits = byte();
      size += (bits & 0x7f) * factor;
      if (bits < 0x80) return size;
    }
    return Number.NaN;
  };
  if (readSize() !== old.length) return undefined;
  const size = readSize();
  if (!(size <= largestFile)) return undefined;
  const parts: string[] = [];
  let made = 0;
  while (at < delta.length) {
    const command = byte();
    let part: string;
    if (command >= 0x80) {
      // which of four bytes of a place and three of a length follow; the others are zero
      let [place, length] = [0, 0];
      for (let bit = 0; bit < 4; bit += 1) if (command & (1 << bit)) place += byte() * 256 ** bit;
      for (let bit = 0; bit < 3; bit += 1) if (command & (0x10 << bit)) length += byte() * 256 ** bit;
      length ||= 0x1_00_00;
      part = old.slice(place, place + length);
      if (part.length !== length) return undefined;
    } else {
      part = delta.slice(at, at + command);
      at += command;
      if (command === 0 || part.length !== command) return undefined;
    }
    made += part.length;
    if (made > size) return undefined;
    parts.push(part);
  }
  return made === size ? parts.join('') : undefined;
}
