import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { printable } from '../../src/diagnostics/printable.ts';
import { quoteMarkdown, quoteMarkdownCode, quoteMarkdownSentence } from '../../src/report/markdown.ts';
import { renderPage, tagsIn, textsOf } from '../action/page.ts';

describe('quoteMarkdown', () => {
  it.each([
    ['6.1.192-otter', '6.1.192-otter'],
    ['asked for m, got n (no such bus)', 'asked for m, got n (no such bus)'],
    ['', '(empty)'],
    ['a|b', 'a&#124;b'],
    ['<script>', '&#60;script&#62;'],
    ['`x`', '&#96;x&#96;'],
    ['*a* _b_ ~c~', '&#42;a&#42; &#95;b&#95; &#126;c&#126;'],
    ['[a](b)', '&#91;a&#93;(b)'],
    ['&lt;', '&#38;lt;'],
    ['back\\slash', 'back&#92;slash'],
    ['# heading', '&#35; heading'],
    ['- item', '&#45; item'],
    ['+ item', '&#43; item'],
    ['1. item', '1&#46; item'],
    ['12) item', '12&#41; item'],
    ['=====', '&#61;===='],
    ['    code', '&#32;   code'],
    ['two\nlines', 'two&#92;nlines'],
    ['\u2028\u2029\u0085', '&#92;u2028&#92;u2029&#92;x85'],
    ['\u202egnp', '&#92;u202egnp'],
    ['\x1b[31m', '&#92;x1b&#91;31m'],
    ['{{name}}', '&#123;&#123;name&#125;&#125;'],
    ['grün 河', 'grün 河'],
  ])('writes %j as %s', (value, expected) => {
    expect(quoteMarkdown(value)).toBe(expected);
  });
});

describe('quoteMarkdownCode', () => {
  it.each([
    ['#1 SMP Thu Jan  1 00:00:00 UTC 2026', '`#1 SMP Thu Jan  1 00:00:00 UTC 2026`'],
    ['"otter-bank"', '`"otter-bank"`'],
    ['<b>&amp;', '`<b>&amp;`'],
    ['', '(empty)'],
    [' ', '<code>&#32;</code>'],
    ['a|b', '<code>a&#124;b</code>'],
    ['a`b', '<code>a&#96;b</code>'],
    ['a\nb', '`a\\nb`'],
    ['</code>|`', '<code>&#60;/code&#62;&#124;&#96;</code>'],
  ])('writes %j as %s', (value, expected) => {
    expect(quoteMarkdownCode(value)).toBe(expected);
  });
});

describe('quoteMarkdownSentence', () => {
  it.each([
    ['`arch` cannot be `x86-64`', '`arch` cannot be `x86-64`'],
    ['no value in it', 'no value in it'],
    ['', '(empty)'],
    ['`a|b` and `<b>`', '<code>a&#124;b</code> and `<b>`'],
    ['a | b in `c`', 'a &#124; b in `c`'],
    ['- `a`', '&#45; `a`'],
    ['side by side `a``b` `c`', 'side by side `a`<code>b</code> `c`'],
    ['nothing in `` it', 'nothing in (empty) it'],
    ['a lone ` stays', 'a lone &#96; stays'],
    ['`a` and a lone `', '`a` and a lone &#96;'],
  ])('writes %j as %s', (sentence, expected) => {
    expect(quoteMarkdownSentence(sentence)).toBe(expected);
  });
});

/** Characters that mean something to Markdown, HTML, Handlebars or a terminal. */
const loaded = fc.string({
  unit: fc.oneof(
    fc.constantFrom(
      ...'|`<>&\\*_{}[]()#+-.!~=:@$/"\' \t\n\r\v\f\0\x1b\x7f\x85\xa0\u200b\u2028\u2029\u202e\ufeff\ud800',
    ),
    fc.constantFrom(
      'a',
      '1',
      '<!--',
      '-->',
      '<script>',
      '</td>',
      '{{',
      '}}',
      '&#124;',
      '```',
      '---',
      'http://',
    ),
    fc.string({ unit: 'binary', minLength: 1, maxLength: 1 }),
  ),
});

it('leaves no character that could mean something, in either way of quoting', () => {
  fc.assert(
    fc.property(loaded, (value) => {
      const plain = quoteMarkdown(value).replaceAll('<!-- -->', '');
      expect(plain).toMatch(/^[\p{L}\p{M}\p{N}\p{P}\p{S}\p{Zs}]*$/u);
      expect(plain.replace(/&#\d+;/g, '')).not.toMatch(/[|`<>&\\*_{}[\]#~:@$]/);
      const code = quoteMarkdownCode(value).replaceAll('<!-- -->', '');
      expect(code).toMatch(/^(?:\(empty\)|`[ -_a-{}~]+`|<code>[^<>|`\n\r]*<\/code>)$/);
    }),
    { numRuns: 500 },
  );
});

// referee: cmark-gfm, the parser that GitHub's specification of its Markdown comes with
it('a sentence stays where it stands and says what it said, whatever its values hold', () => {
  fc.assert(
    fc.property(fc.array(loaded, { maxLength: 8 }), (parts) => {
      const sentence = parts.join('`');
      const quoted = quoteMarkdownSentence(sentence);
      const html = renderPage(`${quoted}\n\n- x: ${quoted}\n\n| a |\n| --- |\n| ${quoted} |\n`);
      // a comment is ours as well, behind the sign of a mail address; one of a value would be missing from the text
      const ours = /^(?:<\/?(?:p|ul|li|table|thead|tbody|tr|th|td|code)>|<!-- -->)$/u;
      expect([...tagsIn(html)].filter((tag) => !ours.test(tag))).toEqual([]);
      expect(html.match(/<(?:p|li|td)>/gu)).toEqual(['<p>', '<li>', '<td>']);
      const bare = (text: string): string => text.replaceAll('(empty)', '').replaceAll(/[\s`]/gu, '');
      expect(bare(textsOf(html, 'p').join())).toBe(bare(printable(sentence)));
    }),
    { numRuns: 100, examples: [[['\0@a']], [['a@b.c <!-- -->']]] },
  );
});
