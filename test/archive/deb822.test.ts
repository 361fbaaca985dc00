import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { deb822Parser, parseDeb822, type Stanza } from '../../src/archive/deb822.ts';

const utf8 = new TextEncoder();

function plain(stanzas: readonly Stanza[]): Record<string, string>[] {
  return stanzas.map((stanza) => Object.fromEntries(stanza));
}

/** Feeds the text in pieces that end at the given offsets. */
function inPieces(text: string, cuts: readonly number[]): ReturnType<typeof parseDeb822> {
  const bytes = utf8.encode(text);
  const stanzas: Stanza[] = [];
  const parser = deb822Parser({ onStanza: (stanza) => stanzas.push(stanza) });
  const ends = [...cuts.map((cut) => cut % (bytes.length + 1)), bytes.length].sort((a, b) => a - b);
  let start = 0;
  for (const end of ends) {
    parser.feed(bytes.subarray(start, end));
    start = end;
  }
  return { stanzas, problems: parser.end() };
}

describe('deb822', () => {
  // Debian Policy section 5.1
  it.each<[string, string, Record<string, string>[]]>([
    ['one stanza', 'Package: gauge\nVersion: 1\n', [{ package: 'gauge', version: '1' }]],
    ['no line end at the end', 'Package: gauge', [{ package: 'gauge' }]],
    ['several empty lines between', 'A: 1\n\n\n\nB: 2\n\n', [{ a: '1' }, { b: '2' }]],
    ['a line of white space between', 'A: 1\n \t\nB: 2\n', [{ a: '1' }, { b: '2' }]],
    ['names in any case', 'pAcKaGe: gauge\n', [{ package: 'gauge' }]],
    ['white space around a value', 'A:   x y \t\n', [{ a: 'x y' }]],
    ['no white space before a value', 'A:x\n', [{ a: 'x' }]],
    ['a colon in a value', 'A: 2:1.0-3\n', [{ a: '2:1.0-3' }]],
    ['continuation lines', 'A: x,\n y,\n\tz\nB: 1\n', [{ a: 'x,\ny,\nz', b: '1' }]],
    ['a value that begins on the second line', 'A:\n aa 1 f\n bb 2 g\n', [{ a: '\naa 1 f\nbb 2 g' }]],
    ['comments', '# one\nA: 1\n# two\nB: 2\n', [{ a: '1', b: '2' }]],
    ['line ends of another system', 'A: 1\r\nB: 2\r\n\r\nC: 3\r\n', [{ a: '1', b: '2' }, { c: '3' }]],
    ['letters beyond ASCII', 'Maintainer: Bjørn Ötter 🦦\n', [{ maintainer: 'Bjørn Ötter 🦦' }]],
    ['nothing', '', []],
    ['empty lines alone', '\n\n\n', []],
  ])('reads %s', (_, text, expected) => {
    const { stanzas, problems } = parseDeb822(text);
    expect(plain(stanzas)).toEqual(expected);
    expect(problems).toEqual([]);
  });

  it.each<[string, string, number, string]>([
    ['a line without colon', 'A: 1\nnonsense\n', 2, 'no colon'],
    ['a continuation at the start', ' x\nA: 1\n', 1, 'without a field'],
    ['a continuation behind an empty line', 'A: 1\n\n x\n', 3, 'without a field'],
    ['a field given twice', 'A: 1\nB: 2\na: 3\n', 3, 'twice'],
    ['a name with a blank in it', 'A b: 1\n', 1, 'name'],
    ['an empty name', ': 1\n', 1, 'name'],
    ['a name that begins with a hyphen', '-A: 1\n', 1, 'name'],
  ])('reports %s', (_, text, line, reason) => {
    const { problems } = parseDeb822(text);
    expect(problems).toHaveLength(1);
    expect(problems[0]?.line).toBe(line);
    expect(problems[0]?.reason).toContain(reason);
  });

  it('keeps the first of a field given twice, with its own lines', () => {
    const { stanzas } = parseDeb822('A: 1\n x\nA: 2\n y\nB: 3\n');
    expect(plain(stanzas)).toEqual([{ a: '1\nx', b: '3' }]);
  });

  it('keeps the wanted fields alone, without their neighbours’ lines', () => {
    const stanzas: Stanza[] = [];
    const lines: number[] = [];
    const parser = deb822Parser({
      fields: ['Version'],
      onStanza(stanza, line) {
        stanzas.push(stanza);
        lines.push(line);
      },
    });
    parser.feed(utf8.encode('Package: a\nVersion: 1\nDescription: x\n .\n y\n\nPackage: b\nTag: q,\n r\n'));
    expect(parser.end()).toEqual([]);
    expect(plain(stanzas)).toEqual([{ version: '1' }, {}]);
    expect(lines).toEqual([1, 7]);
  });

  it('does not gather a text without line ends in memory', () => {
    const parser = deb822Parser({ onStanza: () => undefined });
    const chunk = utf8.encode('x'.repeat(1 << 20));
    for (let count = 0; count < 12; count += 1) parser.feed(chunk);
    expect(parser.end()[0]).toEqual({ line: 1, reason: 'the line is too long' });
  });

  it('tells of twenty problems at most', () => {
    expect(parseDeb822('x\n'.repeat(1000)).problems).toHaveLength(20);
  });

  const word = fc
    .string({ unit: fc.constantFrom('a', 'Ö', '🦦', ':', '#', '-', ' '), minLength: 1 })
    .map((text) => text.trim());
  const value = fc.array(
    word.filter((text) => text !== ''),
    { minLength: 1, maxLength: 4 },
  );
  const name = fc.stringMatching(/^[A-Za-z][A-Za-z0-9-]{0,8}$/);
  const stanza = fc.uniqueArray(fc.tuple(name, value), {
    minLength: 1,
    maxLength: 6,
    selector: ([field]) => field.toLowerCase(),
  });

  it('gives back what was written, however it is cut into pieces', () => {
    fc.assert(
      fc.property(
        fc.array(stanza, { maxLength: 5 }),
        fc.array(fc.nat(), { maxLength: 12 }),
        (stanzas, cuts) => {
          const text = stanzas
            .map((fields) => fields.map(([field, lines]) => `${field}: ${lines.join('\n ')}\n`).join(''))
            .join('\n');
          const { stanzas: found, problems } = inPieces(text, cuts);
          expect(problems).toEqual([]);
          expect(plain(found)).toEqual(
            stanzas.map((fields) =>
              Object.fromEntries(fields.map(([field, lines]) => [field.toLowerCase(), lines.join('\n')])),
            ),
          );
        },
      ),
    );
  });

  it('takes any bytes without throwing', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 400 }), (bytes) => {
        const parser = deb822Parser({ onStanza: () => undefined });
        parser.feed(bytes);
        parser.end();
      }),
    );
  });
});
