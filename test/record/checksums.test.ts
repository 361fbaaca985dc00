import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { formatChecksums, parseChecksums, staysInside } from '../../src/record/checksums.ts';
import { sha256 } from './station.ts';

const digest = sha256('x');
const codesOf = (text: string): string[] => parseChecksums(text).diagnostics.map(({ code }) => code);

describe('with sha256sum of the GNU coreutils as referee', () => {
  let folder: string;
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'quern-sums-'));
  });
  afterEach(() => rmSync(folder, { recursive: true }));

  const check = (sums: string): number | null => {
    writeFileSync(join(folder, 'SHA256SUMS'), sums);
    return spawnSync('sha256sum', ['-c', '--strict', 'SHA256SUMS'], { cwd: folder }).status;
  };
  const put = (name: string, text: string): { name: string; sha256: string } => {
    mkdirSync(dirname(join(folder, name)), { recursive: true });
    writeFileSync(join(folder, name), text);
    return { name, sha256: sha256(text) };
  };

  it('writes lists that it accepts, names with backslash and newline included', () => {
    const entries = [
      'bzImage',
      'System.map',
      'a b',
      'kit/build.sh',
      '*star',
      ' lead',
      'back\\slash',
      'new\nline',
      '\\n',
      '#x',
      'löten',
    ].map((name, index) => put(name, `content ${index}`));
    expect(check(formatChecksums(entries))).toBe(0);
    writeFileSync(join(folder, 'new\nline'), 'changed');
    expect(check(formatChecksums(entries))).toBe(1);
  });

  it('reads lists that sha256sum writes', () => {
    const entries = ['bzImage', 'back\\slash', 'new\nline'].map((name) => put(name, name));
    for (const mode of ['--text', '--binary']) {
      const { stdout } = spawnSync('sha256sum', [mode, ...entries.map(({ name }) => name)], { cwd: folder });
      const { value, diagnostics } = parseChecksums(stdout.toString());
      expect(diagnostics).toEqual([]);
      expect([...value]).toEqual(entries.map((entry) => [entry.name, entry.sha256]));
    }
  });

  it.each([
    ['an empty digest', '  bzImage\n'],
    ['a short digest', `${digest.slice(1)}  bzImage\n`],
    ['one blank', `${digest} bzImage\n`],
    ['no name', `${digest}  \n`],
    ['an escape that does not exist', `\\${digest}  bz\\Image\n`],
  ])('refuses, as it does, %s', (_, line) => {
    put('bzImage', 'x');
    const good = `${digest}  bzImage\n`;
    expect(check(good)).toBe(0);
    expect(check(good + line)).toBe(1);
    expect(codesOf(good + line)).toContain('record/malformed-checksums');
  });

  it.each([
    ['capitals in the digest', `${digest.toUpperCase()}  bzImage\n`],
    ['an empty line', `\n${digest}  bzImage\n\n`],
    ['a comment', `# of the gauge station\n${digest}  bzImage\n`],
    ['lines that end with CR LF', `${digest}  bzImage\r\n`],
    ['no newline at the end', `${digest}  bzImage`],
  ])('accepts, as it does, %s', (_, text) => {
    put('bzImage', 'x');
    expect(check(text)).toBe(0);
    expect(parseChecksums(text)).toEqual({ value: new Map([['bzImage', digest]]), diagnostics: [] });
  });
});

describe('formatChecksums', () => {
  it('sorts by the bytes of the names', () => {
    const names = ['b', 'a', 'B', 'ab', 'é', '\uffff', '\u{10000}'];
    const lines = formatChecksums(names.map((name) => ({ name, sha256: digest })))
      .trimEnd()
      .split('\n');
    expect(lines.map((line) => line.slice(66))).toEqual(['B', 'a', 'ab', 'b', 'é', '\uffff', '\u{10000}']);
  });

  it('reads back what it writes', () => {
    const name = fc.string({ unit: 'grapheme', minLength: 1 }).filter(staysInside);
    fc.assert(
      fc.property(fc.uniqueArray(name, { selector: (one) => one }), (names) => {
        const entries = names.map((one) => ({ name: one, sha256: sha256(one) }));
        const { value, diagnostics } = parseChecksums(formatChecksums(entries));
        expect(diagnostics).toEqual([]);
        expect(value).toEqual(new Map(entries.map((entry) => [entry.name, entry.sha256])));
      }),
    );
  });

  it.each([
    { name: 'a', sha256: 'A'.repeat(64) },
    { name: '../a', sha256: digest },
    { name: '/a', sha256: digest },
    { name: '', sha256: digest },
  ])('refuses %j', (entry) => {
    expect(() => formatChecksums([entry])).toThrow(RangeError);
  });
});

describe('parseChecksums', () => {
  it.each(['/etc/passwd', '../bzImage', 'kit/../../x', 'kit//x', './bzImage', 'kit/', '..'])(
    'refuses the name %s',
    (name) => {
      expect(codesOf(`${digest}  ${name}\n`)).toEqual(['record/path-outside']);
    },
  );

  it('points at each bad line and goes on', () => {
    const text = `nonsense\n${digest}  a\n${digest}  a\n${digest}  b\n`;
    const { value, diagnostics } = parseChecksums(text, 'SUMS');
    expect([...value.keys()]).toEqual(['a', 'b']);
    expect(
      diagnostics.map(({ code, span }) => [code, span && text.slice(span.start, span.end), span?.file]),
    ).toEqual([
      ['record/malformed-checksums', 'nonsense', 'SUMS'],
      ['record/duplicate-name', `${digest}  a`, 'SUMS'],
    ]);
  });

  it('never throws, and never lets a name out of the folder', () => {
    const piece = fc.oneof(
      fc.constantFrom(digest, '  ', ' *', '\\', '../', '/', '\n', '\r', '\0', '#'),
      fc.string(),
    );
    fc.assert(
      fc.property(
        fc.array(piece).map((pieces) => pieces.join('')),
        (text) => {
          for (const name of parseChecksums(text).value.keys()) expect(staysInside(name)).toBe(true);
        },
      ),
      { numRuns: 300 },
    );
  });
});
