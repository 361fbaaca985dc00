/**
 * How values reach Markdown, in table cells and in running text alike: they can start no cell, no line, no heading,
 * no HTML, no link and no emphasis. Written for GitHub Flavored Markdown (https://github.github.com/gfm/): a numeric
 * character reference "cannot be used in place of symbols indicating structure" (6.2), and a code span takes
 * everything but backticks literally (6.3), pipes excepted within tables (4.10).
 */
import { printable } from '../diagnostics/printable.ts';

/** What running text may hold as it is. Everything else of ASCII becomes a character reference. */
const ordinary = /[A-Za-z0-9 .,;?!'"()/=+%-]/;

/** What may stand between backticks, in a table too: the printable characters of ASCII without `` ` `` and `|`. */
const codeSpan = /^[!-_a-{}~]([ -_a-{}~]*[!-_a-{}~])?$/;

/** Shown for an empty value, so that a reader sees that there is none. */
const empty = '(empty)';

/** `value` as running text. Characters that do not print are shown as escapes such as `\x1b`. */
export function quoteMarkdown(value: string): string {
  return value === '' ? empty : referenced(printable(value));
}

/** `value` as code. */
export function quoteMarkdownCode(value: string): string {
  if (value === '') return empty;
  const text = printable(value);
  return codeSpan.test(text) ? `\`${text}\`` : `<code>${referenced(text)}</code>`;
}

/**
 * `sentence` as running text, in which what stands between backticks, as a sentence of ours has its values, is code.
 * Each part is quoted for its place: a backtick within a value moves the border between two parts, and does no more.
 */
export function quoteMarkdownSentence(sentence: string): string {
  if (sentence === '') return empty;
  const parts = printable(sentence).split('`');
  // without its other half it is a character like any other
  const lone = parts.length % 2 === 0 ? parts.pop() : undefined;
  if (lone !== undefined) parts.push(`${parts.pop() ?? ''}\`${lone}`);
  return parts.reduce((line, part, index) => {
    if (index % 2 === 0) return line + referenced(part, line === '');
    // two code spans side by side would be one
    return line + (line.endsWith('`') ? `<code>${referenced(part, false)}</code>` : quoteMarkdownCode(part));
  }, '');
}

/** The first character, and the mark behind leading digits, could make a line a list item, a rule or a code block. */
const lineStart = /^(?:[^A-Za-z0-9]|(?<digits>\d+)[.)](?= |$))/;

/** Addresses of mail become links (6.9) in the finished text, in which a reference is the character: a comment ends it. */
const mailSign = /(?<=[A-Za-z0-9._+-]|;)&#64;(?=[A-Za-z0-9])/gu;

function referenced(text: string, startsLine: boolean = true): string {
  const start = startsLine ? lineStart.exec(text) : undefined;
  const marked = start ? (start.groups?.['digits']?.length ?? 0) : -1;
  return Array.from(text, (character, index) => {
    const code = character.codePointAt(0) ?? 0;
    const stays = code > 0x7f || (index !== marked && ordinary.test(character));
    return stays ? character : `&#${code};`;
  })
    .join('')
    .replaceAll(mailSign, '&#64;<!-- -->');
}
