/**
 * Text of a stranger is shown on a terminal: whatever could move the cursor, change colours, hide itself or reverse
 * the reading order is written as an escape. These are the general categories Cc, Cf, Cs, Co and Cn of the Unicode
 * standard, and its line and paragraph separators.
 */
const invisible = /[\p{C}\p{Zl}\p{Zp}]/gu;

const named: Readonly<Record<string, string>> = { '\n': '\\n', '\r': '\\r', '\t': '\\t' };

function escapeCharacter(character: string): string {
  const code = character.codePointAt(0) ?? 0;
  if (code <= 0xff) return named[character] ?? `\\x${code.toString(16).padStart(2, '0')}`;
  return code <= 0xffff ? `\\u${code.toString(16).padStart(4, '0')}` : `\\u{${code.toString(16)}}`;
}

/** `text` on one line, with every character that is not printable written as an escape such as `\x1b` or `\u202e`. */
export function printable(text: string): string {
  return text.replace(invisible, escapeCharacter);
}

/** `text` for the middle of a sentence: printable, in backticks, cut in its middle when longer than `limit` characters. */
export function quoted(text: string, limit = 60): string {
  const kept = Math.floor((limit - 1) / 2);
  // A character takes two units at most, so that of a long text its ends are enough: it may be megabytes of hostile ones.
  const isLong = text.length > 4 * limit;
  const start = [...printable(isLong ? text.slice(0, 2 * kept) : text)];
  if (!isLong && start.length <= limit) return `\`${start.join('')}\``;
  const end = isLong ? [...printable(text.slice(-2 * kept))] : start;
  return `\`${start.slice(0, kept).join('')}…${end.slice(-kept).join('')}\``;
}

/** A word of a POSIX shell, in single quotes (POSIX.1-2017, Shell Command Language, 2.2.2): nothing expands in it. */
export function singleQuoted(text: string): string {
  return `'${text.replaceAll("'", `'\\''`)}'`;
}

/**
 * `text` as a word of a command that a person may paste into a shell: as it is where it is plain, else in single quotes.
 * What is not printable is escaped as elsewhere.
 */
export function shellTyped(text: string): string {
  const shown = printable(text);
  return /^[\p{L}\p{N}._/@%+,:][\p{L}\p{N}._/@%+,:=-]*$/u.test(shown) ? shown : singleQuoted(shown);
}

const wide =
  /[\p{Script=Han}\p{Script=Hiragana}\p{Script=Katakana}\p{Script=Hangul}\p{Emoji_Presentation}\u3000-\u303e\uff01-\uff60\uffe0-\uffe6]/u;

/** Columns that one printable character takes on a terminal: 0, 1 or 2 (Unicode Standard Annex 11, in outline). */
export function columnsOf(character: string): number {
  if (/^\p{M}$/u.test(character)) return 0;
  return wide.test(character) ? 2 : 1;
}
