/**
 * Whether a value fits the type of an option, how it would be written if it does not, and whether it is the one that the
 * configuration has. The rules are those of the kernel's reader (sym_string_valid), but for its leniency: of `=yes` it
 * reads the first character, and here it is a value that wants another spelling.
 */
import type { SymbolType } from './rules.ts';
import { isNumberText } from './numbers.ts';
import { quoteString, stringEnd, unquoteString } from './quote.ts';

export type ValuedType = Exclude<SymbolType, 'unknown'>;

const states: ReadonlyMap<string, string> = new Map([
  ...['y', 'yes', 'on', 'true', '1'].map((word) => [word, 'y'] as const),
  ...['n', 'no', 'off', 'false', '0', ''].map((word) => [word, 'n'] as const),
  ...['m', 'mod', 'module'].map((word) => [word, 'm'] as const),
]);

export function fitsType(type: ValuedType, value: string): boolean {
  switch (type) {
    case 'bool':
      return value === 'y' || value === 'n';
    case 'tristate':
      return value === 'y' || value === 'm' || value === 'n';
    case 'int':
    case 'hex':
      return isNumberText(type, value);
    case 'string':
      return unquoteString(value) !== undefined;
  }
}

/** The value that was probably meant by one that does not fit; `undefined` when that is anybody's guess. */
export function rightSpelling(type: ValuedType, value: string): string | undefined {
  const text = (unquoteString(value) ?? value.replace(/^'([^']*)'$/s, '$1')).trim();
  switch (type) {
    case 'bool':
    case 'tristate': {
      const state = states.get(text.toLowerCase());
      return state === 'm' && type === 'bool' ? 'y' : state;
    }
    case 'int': {
      const [, sign, digits] = /^([-+]?)(0[xX][0-9a-fA-F]{1,16}|[0-9]{1,20})$/.exec(text) ?? [];
      return digits === undefined ? undefined : `${sign === '-' ? '-' : ''}${BigInt(digits)}`;
    }
    case 'hex':
      return isNumberText('hex', text) ? text : undefined;
    case 'string': {
      // "is not set", or nothing: the string that is none
      if (value === '' || value === 'n') return '""';
      if (!value.startsWith('"')) return quoteString(text);
      const end = stringEnd(value);
      if (end !== undefined) return value.slice(0, end);
      // A backslash at the end would take the quote that closes the string.
      const closed = `${value}"`;
      return stringEnd(closed) === undefined ? `${value.slice(0, -1)}"` : closed;
    }
  }
}

/**
 * Whether a value asked for is the one that came out.
 *
 * @param requested as it stands in a `.config`
 * @param value of the symbol: of a string without quotes
 */
export function isSameValue(type: ValuedType, requested: string, value: string): boolean {
  if (type !== 'string' && requested === value) return true;
  if (!fitsType(type, requested)) return false;
  if (type === 'string') return unquoteString(requested) === value;
  const one = numberOf(type, requested);
  return one !== undefined && one === numberOf(type, value);
}

/** An int or hex as a number; `undefined` for every other value. */
export function numberOf(type: ValuedType, value: string): bigint | undefined {
  if ((type !== 'int' && type !== 'hex') || !isNumberText(type, value)) return undefined;
  if (type === 'int') return BigInt(value);
  return BigInt(/^0x/i.test(value) ? value : `0x${value}`);
}
