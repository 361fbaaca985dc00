import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import { formatText } from '../../src/diagnostics/format-text.ts';

/** A diagnostic about the part of `text` between « and », which are taken out. */
function about(marked: string, more: Partial<Diagnostic> = {}): [Diagnostic, Map<string, string>] {
  const start = marked.indexOf('«');
  const end = marked.indexOf('»') - 1;
  const diagnostic: Diagnostic = {
    code: 'spec/unknown-key',
    severity: 'error',
    exit: 2,
    message: 'unknown key',
    span: { file: 'gauge.yaml', start, end },
    notes: [],
    ...more,
  };
  return [diagnostic, new Map([['gauge.yaml', marked.replace(/[«»]/g, '')]])];
}

function text(marked: string, more: Partial<Diagnostic> = {}): string {
  const [diagnostic, sources] = about(marked, more);
  return formatText([diagnostic], sources, { color: false });
}

describe('formatText', () => {
  test('names the place, shows the line, underlines, then notes and help', () => {
    const more = { notes: ['keys here: version, source'], help: 'did you mean `source`?\nor not' };
    expect(text('kernel:\n  version: "6.1"\n  «sorce»: x\n', more)).toBe(
      [
        'gauge.yaml:3:3: error[spec/unknown-key]: unknown key',
        '    3 |   sorce: x',
        '      |   ^^^^^',
        '  note: keys here: version, source',
        '  help: did you mean `source`?',
        '        or not',
        '',
      ].join('\n'),
    );
  });

  test.each([
    ['a place of no width', 'a: «»b', '    1 | a: b', '      |    ^'],
    ['the end of a line', 'abc«»\ndef', '    1 | abc', '      |    ^'],
    ['more than one line', 'ab«c\nde»f', '    1 | abc', '      |   ^'],
    ['tabs are four columns', '\ta: «b»', '    1 |     a: b', '      |        ^'],
    ['wide characters are two', '水位: «b»', '    1 | 水位: b', '      |       ^'],
    ['combining marks are none', 'e\u0301: «b»', '    1 | e\u0301: b', '      |    ^'],
    ['control characters are escaped', 'a: «\u001b[31mx»', '    1 | a: \\x1b[31mx', '      |    ^^^^^^^^^'],
    ['so are those that reverse the text', 'a\u202eb: «c»', '    1 | a\\u202eb: c', '      |           ^'],
    ['and lone surrogates', 'a\ud800: «c»', '    1 | a\\ud800: c', '      |          ^'],
  ])('%s', (_, marked, line, carets) => {
    expect(text(marked).split('\n').slice(1, 3)).toEqual([line, carets]);
  });

  test('without a span, or without the text of its file, only says where and what', () => {
    const [diagnostic] = about('«a»');
    expect(formatText([diagnostic], new Map(), { color: false })).toBe(
      'gauge.yaml: error[spec/unknown-key]: unknown key\n',
    );
    const placeless: Diagnostic = { code: 'x/y', severity: 'note', exit: 0, message: 'well', notes: [] };
    expect(formatText([placeless, placeless], new Map(), { color: false })).toBe(
      'note[x/y]: well\n\nnote[x/y]: well\n',
    );
    expect(formatText([], new Map(), { color: false })).toBe('');
  });

  test('colours only when asked to', () => {
    const [diagnostic, sources] = about('a: «b»');
    const colored = formatText([diagnostic], sources, { color: true });
    expect(colored).toContain('\u001b[31;1merror[spec/unknown-key]\u001b[0m');
    expect(colored.replace(/\u001b\[[0-9;]*m/g, '')).toBe(
      formatText([diagnostic], sources, { color: false }),
    );
  });

  test('a line of a megabyte is cut around the place, quickly', () => {
    const [line = '', carets = ''] = text(`${'x'.repeat(500_000)}«bad»${'y'.repeat(500_000)}`)
      .split('\n')
      .slice(1, 3);
    expect(line.length).toBeLessThan(130);
    expect(line.slice(carets.indexOf('^'), carets.lastIndexOf('^') + 1)).toBe('bad');
    expect(line).toMatch(/^ {4}1 \| …x+bady+…$/);
  });

  test('whatever the text, nothing but printable characters and line breaks comes out, and the mark is on the screen', () => {
    const hostile = fc.string({
      unit: fc.constantFrom(
        'a',
        '\u001b',
        '\u0000',
        '\r',
        '\n',
        '\t',
        '\u202e',
        '\u2028',
        '水',
        '\udc00',
        '\u009b',
        '`',
      ),
      maxLength: 300,
    });
    fc.assert(
      fc.property(hostile, fc.nat(300), fc.nat(20), hostile, (source, start, length, words) => {
        const diagnostic: Diagnostic = {
          code: 'a/b',
          severity: 'warning',
          exit: 0,
          message: words,
          span: { file: words, start, end: start + length },
          notes: [words],
          help: words,
        };
        const out = formatText([diagnostic], new Map([[words, source]]), { color: false });
        expect(out.replace(/\n/g, '')).not.toMatch(/[\p{C}\p{Zl}\p{Zp}]/u);
        expect(out).toMatch(/\n {6}\| +\^+\n/);
        for (const line of out.split('\n')) {
          if (/^ +(\d+)? \|/.test(line)) expect(line.length).toBeLessThanOrEqual(9 + 110 + 3);
        }
      }),
    );
  });
});
