import { quoted } from '../diagnostics/printable.ts';
import { formatConfigLine } from './dot-config.ts';
import { quoteString, stringEnd, unquoteString } from './quote.ts';

/** What is wrong with a line of a fragment, and the line that was probably meant. */
export interface Fault {
  readonly why: string;
  readonly instead?: string;
}

const states: ReadonlyMap<string, string> = new Map([
  ['yes', 'y'],
  ['on', 'y'],
  ['true', 'y'],
  ['no', 'n'],
  ['off', 'n'],
  ['false', 'n'],
  ['module', 'm'],
  ['mod', 'm'],
]);

function isValue(value: string): boolean {
  return (
    /^(?:[ymn]|-?(?:0|[1-9][0-9]*)|(?:0[xX])?[0-9a-fA-F]+)$/.test(value) || unquoteString(value) !== undefined
  );
}

/** A value without the comment behind it; a `#` in a string is none. */
function withoutComment(value: string): string {
  const at = value.search(/\s#/);
  const before = at < 0 ? value : value.slice(0, at).trimEnd();
  return before.startsWith('"') && !isValue(before) ? value : before;
}

/** The value that was probably meant by one that no option can have. */
function meantValue(written: string): string | undefined {
  const value = withoutComment(written);
  if (isValue(value)) return value;
  const word = value.trim().toLowerCase();
  const state = /^[ymn]$/.test(word) ? word : states.get(word);
  if (state !== undefined) return state;
  const single = /^'([^']*)'$/.exec(value)?.[1];
  if (single !== undefined) return quoteString(single);
  const text = value.replace(/^"|"$/g, '');
  return /^[^"\\]*$/.test(text) ? quoteString(text) : undefined;
}

/**
 * What is wrong with a value as it stands behind `=`, as far as that shows without knowing the option: y, m, n, a
 * decimal or hexadecimal number, or a string in quotes are right.
 */
export function valueFault(value: string): Fault | undefined {
  if (isValue(value)) return undefined;
  const instead = meantValue(value);
  const more = instead === undefined ? {} : { instead };
  if (value === '') return { why: 'there is no value', instead: 'n' };
  if (withoutComment(value) !== value) return { why: 'a comment takes a line of its own', ...more };
  if (stringEnd(value) !== undefined) return { why: 'something stands behind the closing quote', ...more };
  if (value.startsWith('"')) return { why: 'the closing quote is missing', ...more };
  return { why: 'a value is y, m, n, a number, or a string in double quotes', ...more };
}

/** An option as it was probably meant: all in capitals where there is none. */
function meantName(option: string): string {
  return /[A-Z]/.test(option) ? option : option.toUpperCase();
}

/** What is wrong with a line that gives no option a value and is no comment; `undefined` when it is one after all. */
export function lineFault(line: string): Fault | undefined {
  const unset = /^\s*#\s*(?:CONFIG_)*(?!CONFIG_)([A-Za-z0-9_]+) +is +not +set\b(.*)$/i.exec(line);
  if (unset) {
    const meant = formatConfigLine(meantName(unset[1] ?? ''), 'n');
    // A sentence that happens to have these words in it is a comment; only what names an option asks for something.
    if (line === meant || !/CONFIG_/i.test(line)) return undefined;
    return { why: 'the kernel reads this only when it is written exactly so', instead: meant };
  }
  if (line.startsWith('#')) return undefined;
  const assigned = /^\s*(?:CONFIG_)*(?!CONFIG_)([A-Za-z0-9_]+)\s*[=:]\s*(.*)$/i.exec(line);
  if (assigned) {
    const [, option = '', value = ''] = assigned;
    const right = meantValue(value);
    const why = 'a value is written `CONFIG_X=y`: from the first column, with the prefix, without blanks';
    return right === undefined ? { why } : { why, instead: formatConfigLine(meantName(option), right) };
  }
  const bare = /^\s*(?:CONFIG_)+(?!CONFIG_)([A-Za-z0-9_]+)$/i.exec(line)?.[1];
  if (bare !== undefined)
    return { why: 'there is no value', instead: formatConfigLine(meantName(bare), 'y') };
  return { why: `${quoted(line.trim(), 40)} is neither a value nor a comment` };
}
