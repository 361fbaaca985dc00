/** Numbers as the C library reads them: the kernel's program leaves all of it to strtoll and strtoull. */

const most = (1n << 63n) - 1n;
const least = -(1n << 63n);
const mostUnsigned = (1n << 64n) - 1n;

interface ReadNumber {
  readonly value: bigint;
  /** Where the number ends; 0 when there is none. */
  readonly end: number;
  /** It does not fit, and was cut. */
  readonly cut: boolean;
}

function digitOf(code: number): number {
  if (code >= 0x30 && code <= 0x39) return code - 0x30;
  const lower = code | 0x20;
  return lower >= 0x61 && lower <= 0x7a ? lower - 0x61 + 10 : 99;
}

/** @param base 10, 16, or 0 for whatever the prefix says */
function readNumber(text: string, base: 0 | 10 | 16, unsigned: boolean): ReadNumber {
  let position = 0;
  while (position < text.length && ' \t\n\v\f\r'.includes(text.charAt(position))) position += 1;
  const negative = text.charAt(position) === '-';
  if (negative || text.charAt(position) === '+') position += 1;
  let radix: number = base;
  const prefixed =
    text.charAt(position) === '0' &&
    (text.charCodeAt(position + 1) | 0x20) === 0x78 &&
    digitOf(text.charCodeAt(position + 2)) < 16;
  if (base === 0) radix = prefixed ? 16 : text.charAt(position) === '0' ? 8 : 10;
  if (prefixed && radix === 16) position += 2;
  const start = position;
  while (position < text.length && digitOf(text.charCodeAt(position)) < radix) position += 1;
  if (position === start) return { value: 0n, end: 0, cut: false };
  // What does not fit is cut anyway; no need to work out a number of a million digits.
  const digits = text.slice(start, position).replace(/^0+(?=.)/, '');
  const prefix = radix === 16 ? '0x' : radix === 8 ? '0o' : '';
  const size = digits.length > 64 ? mostUnsigned + 1n : BigInt(prefix + digits);
  if (unsigned) {
    if (size > mostUnsigned) return { value: mostUnsigned, end: position, cut: true };
    return { value: negative && size > 0n ? mostUnsigned + 1n - size : size, end: position, cut: false };
  }
  const value = negative ? -size : size;
  if (value > most) return { value: most, end: position, cut: true };
  if (value < least) return { value: least, end: position, cut: true };
  return { value, end: position, cut: false };
}

/** The number at the start of a text, 0 when there is none: for ranges. */
export function leadingNumber(text: string, base: 10 | 16): bigint {
  return readNumber(text, base, false).value;
}

/**
 * A whole text as a number to compare with.
 *
 * @param type of the symbol; of one that has no number type the prefix says how it is written
 * @returns `undefined` when it is not one number and nothing else
 */
export function comparedNumber(text: string, type: string): bigint | undefined {
  const isHex = type === 'hex';
  const { value, end, cut } = readNumber(text, isHex ? 16 : type === 'int' ? 10 : 0, isHex);
  return cut || end === 0 || end !== text.length ? undefined : value;
}

/** A number as the 64 bits that it is in memory, without sign. */
export function asUnsigned(value: bigint): bigint {
  return value < 0n ? value + mostUnsigned + 1n : value;
}

/** Whether a text is a value that an int or hex may be given (sym_string_valid). */
export function isNumberText(type: 'int' | 'hex', text: string): boolean {
  return type === 'int' ? /^-?(?:0|[1-9][0-9]*)$/.test(text) : /^(?:0[xX])?[0-9a-fA-F]+$/.test(text);
}
