/** The functions of GNU make that need nothing but their arguments (GNU make manual, chapter "Functions"). */

export const wordsOf = (text: string): readonly string[] => text.split(/\s+/).filter(Boolean);

/** Whether a word fits a pattern in which the first `%` stands for anything; what it stood for. */
function matchPattern(pattern: string, word: string): string | undefined {
  const at = pattern.indexOf('%');
  if (at < 0) return pattern === word ? '' : undefined;
  const head = pattern.slice(0, at);
  const tail = pattern.slice(at + 1);
  const fits = word.length >= head.length + tail.length && word.startsWith(head) && word.endsWith(tail);
  return fits ? word.slice(head.length, word.length - tail.length) : undefined;
}

export function substitutePattern(pattern: string, replacement: string, text: string): string {
  return wordsOf(text)
    .map((word) => {
      const stem = matchPattern(pattern, word);
      if (stem === undefined) return word;
      return pattern.includes('%') ? replacement.replace('%', () => stem) : replacement;
    })
    .join(' ');
}

function filter(patterns: string, text: string, keep: boolean): string {
  const all = wordsOf(patterns);
  return wordsOf(text)
    .filter((word) => all.some((pattern) => matchPattern(pattern, word) !== undefined) === keep)
    .join(' ');
}

const eachWord = (text: string, change: (word: string) => string): string =>
  wordsOf(text).map(change).join(' ');

const nothing = (): string => '';

/** Name to the function, whose arguments are expanded. */
export const textFunctions: ReadonlyMap<string, (...args: readonly string[]) => string> = new Map<
  string,
  (...args: readonly string[]) => string
>([
  ['subst', (from = '', to = '', text = '') => (from === '' ? text + to : text.replaceAll(from, () => to))],
  ['patsubst', (pattern = '', to = '', text = '') => substitutePattern(pattern.trim(), to, text)],
  ['strip', (text = '') => wordsOf(text).join(' ')],
  ['findstring', (part = '', text = '') => (text.includes(part) ? part : '')],
  ['filter', (patterns = '', text = '') => filter(patterns, text, true)],
  ['filter-out', (patterns = '', text = '') => filter(patterns, text, false)],
  ['sort', (text = '') => [...new Set(wordsOf(text))].sort().join(' ')],
  ['word', (n = '', text = '') => wordsOf(text)[Number(n) - 1] ?? ''],
  ['words', (text = '') => String(wordsOf(text).length)],
  [
    'wordlist',
    (from = '', to = '', text = '') =>
      wordsOf(text)
        .slice(Number(from) - 1, Number(to))
        .join(' '),
  ],
  ['firstword', (text = '') => wordsOf(text)[0] ?? ''],
  ['lastword', (text = '') => wordsOf(text).at(-1) ?? ''],
  ['dir', (text = '') => eachWord(text, (path) => path.slice(0, path.lastIndexOf('/') + 1) || './')],
  ['notdir', (text = '') => eachWord(text, (path) => path.slice(path.lastIndexOf('/') + 1))],
  ['basename', (text = '') => eachWord(text, (path) => path.replace(/\.[^./]*$/, ''))],
  ['suffix', (text = '') => eachWord(text, (path) => /\.[^./]*$/.exec(path)?.[0] ?? '').trim()],
  ['addprefix', (prefix = '', text = '') => eachWord(text, (word) => prefix + word)],
  ['addsuffix', (suffix = '', text = '') => eachWord(text, (word) => word + suffix)],
  // What these say is for somebody who builds; what they refuse, the build refuses.
  ...['error', 'warning', 'info', 'eval', 'file'].map((name) => [name, nothing] as const),
]);
