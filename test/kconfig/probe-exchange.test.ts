import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { questionFiles, readAnswers } from '../../src/kconfig/probe-exchange.ts';

const bytes = (text: string): Uint8Array => Buffer.from(text, 'latin1');
const shown = (files: ReadonlyMap<string, Uint8Array>): Readonly<Record<string, string>> =>
  Object.fromEntries([...files].map(([path, content]) => [path, Buffer.from(content).toString('latin1')]));

describe('questionFiles', () => {
  it('has a file for each command, and one for the variables', () => {
    const questions = {
      commands: ['gcc --version', `printf '%s' "$x"\n`],
      variables: { CC: 'gcc', TEXT: `it's "x" $(y)\n` },
    };
    expect(shown(questionFiles(questions))).toEqual({
      'questions/00001': 'gcc --version',
      'questions/00002': `printf '%s' "$x"\n`,
      variables: `CC='gcc'\nexport CC\nTEXT='it'\\''s "x" $(y)\n'\nexport TEXT\n`,
    });
  });

  it.each<[string, readonly string[], Readonly<Record<string, string>>]>([
    ['a zero byte in a command', ['a\0b'], {}],
    ['a zero byte in a variable', [], { A: 'a\0b' }],
    ['a name that is none', [], { 'A;B': '' }],
    ['a name that ends the quotes', [], { "A'": '' }],
    ['a character that is no byte', ['🦦'], {}],
  ])('refuses %s', (_, commands, variables) => {
    expect(() => questionFiles({ commands, variables })).toThrow(RangeError);
  });
});

describe('readAnswers', () => {
  const commands = ['first', 'second'];
  const good = 'tree /build/probes/tree\n00001 5\nGCC 1\n00002 4\na\nb\n\n';

  it('drops line feeds at the end and makes blanks of others, as $(shell …) does', () => {
    expect([...readAnswers(bytes(good), commands).value]).toEqual([
      ['first', 'GCC 1'],
      ['second', 'a b'],
    ]);
  });

  it('says nothing of where the tree was', () => {
    const text = 'tree /tmp/x/tree\n00001 24\n/tmp/x/tree/a:/tmp/x/tre\n';
    expect([...readAnswers(bytes(text), ['first']).value.values()]).toEqual(['./a:/tmp/x/tre']);
  });

  it.each<[string, string]>([
    ['nothing', ''],
    ['no tree', '00001 0\n\n'],
    ['an answer too few', 'tree /t\n00001 0\n\n'],
    ['an answer too many', `${good}00003 0\n\n`],
    ['answers in another order', 'tree /t\n00002 0\n\n00001 0\n\n'],
    ['an answer cut off', good.slice(0, -3)],
    ['a length that is too small', good.replace('00001 5', '00001 4')],
    ['a length that is too large', good.replace('00002 4', '00002 9999')],
    ['a length that is no number', good.replace('00001 5', '00001 x')],
  ])('refuses %s', (_, text) => {
    const { value, diagnostics } = readAnswers(bytes(text), commands);
    expect(value.size).toBe(0);
    expect(diagnostics).toMatchObject([{ code: 'kconfig/bad-probe-file' }]);
  });

  it('gives all answers or none, whatever it reads', () => {
    fc.assert(
      fc.property(
        fc.array(fc.tuple(fc.nat(good.length), fc.nat(3), fc.string({ maxLength: 3 })), { maxLength: 3 }),
        (cuts) => {
          const text = cuts.reduce(
            (now, [at, length, put]) => now.slice(0, at) + put + now.slice(at + length),
            good,
          );
          const { value, diagnostics } = readAnswers(Buffer.from(text), commands);
          expect(value.size).toBe(diagnostics.length === 0 ? 2 : 0);
        },
      ),
    );
  });
});
