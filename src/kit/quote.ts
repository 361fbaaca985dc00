/**
 * How values reach generated files: every template prints through one of these, chosen for the place.
 * Each throws on a value that its place cannot hold; the grammars of spec and lock keep such values out before.
 */

import { singleQuoted } from '../diagnostics/printable.ts';

/** A word of a POSIX shell, in single quotes. */
export function shellWord(value: string): string {
  if (/[\0\n\r]/u.test(value)) throw new Error(`not a shell word: ${JSON.stringify(value)}`);
  return singleQuoted(value);
}

/** A value that needs no quotes anywhere: in a table split at blanks, a make target, a digest line. */
export function plainWord(value: string): string {
  // a tilde is expanded at the start of a word, and in an assignment behind `=` and `:` as well (2.6.1)
  if (!/^[A-Za-z0-9._~+:/%=@,][A-Za-z0-9._~+:/%=@,-]*$/u.test(value) || /(?:^|[:=])~/u.test(value)) {
    throw new Error(`not a plain word: ${JSON.stringify(value)}`);
  }
  return value;
}

/** The rest of a line in a quoted here-document: anything printable, but no line break and not the line that ends it. */
export function plainLine(value: string): string {
  if (/[\0-\x1f\x7f\u2028\u2029]/u.test(value) || value === 'END') {
    throw new Error(`not a line: ${JSON.stringify(value)}`);
  }
  return value;
}
