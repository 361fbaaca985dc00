import { execFileSync } from 'node:child_process';

/**
 * A page in GitHub Flavored Markdown as HTML, by cmark-gfm, the parser that GitHub's own specification comes with
 * (Debian: cmark-gfm). HTML within it comes out as it went in, so that it shows in the tags.
 */
export function renderPage(markdown: string): string {
  const options = ['--unsafe', '-e', 'table', '-e', 'strikethrough', '-e', 'autolink', '-e', 'tasklist'];
  return execFileSync('cmark-gfm', options, { input: markdown, encoding: 'utf8' });
}

/** All tags of a page, each once, attributes and all. */
export function tagsIn(html: string): ReadonlySet<string> {
  return new Set([...html.matchAll(/<[^>]*>/gu)].map(([tag]) => tag));
}

/** The text of all elements of a kind. */
export function textsOf(html: string, element: string): string[] {
  return [...html.matchAll(new RegExp(`<${element}[^>]*>(.*?)</${element}>`, 'gsu'))].map(([, text = '']) =>
    text
      .replaceAll(/<[^>]*>/gu, '')
      .replaceAll('&lt;', '<')
      .replaceAll('&gt;', '>')
      .replaceAll('&quot;', '"')
      .replaceAll('&amp;', '&'),
  );
}

/** Everything that our pages are made of; what else there is was made by a value. */
export const ourTags: ReadonlySet<string> = new Set(
  [
    'h1 h2 h3 p table thead tbody tr th td ul li strong code br details summary pre',
    'th align="right"',
    'td align="right"',
  ]
    .flatMap((line) => (line.includes('=') ? [line] : line.split(' ')))
    .flatMap((tag) => [`<${tag}>`, `<${tag} />`, `</${tag.split(' ')[0]}>`])
    // where an address of mail would become a link
    .concat('<!-- -->'),
);
