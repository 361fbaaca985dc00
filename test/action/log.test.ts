import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';

import { harmless, stepLog } from '../../action/log.ts';
import { commandsIn } from './runner.ts';

let printed = '';
beforeEach(() => {
  printed = '';
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => {
    printed += String(text);
    return true;
  });
});
afterEach(() => vi.restoreAllMocks());

const attacks = [
  '::set-output name=a::b',
  '  ::error::x',
  '\t::add-path::/tmp/bin',
  '::SET-ENV name=PATH::/tmp/bin',
  '##[set-env name=PATH]/tmp/bin',
  'gcc: ##[add-path]/tmp/bin',
  '####[error]x',
  '##[##[error]x',
  '\u00a0::error::x',
  '\u3000::error::x',
  'a\n::error::x\n##[error]y',
  'a\r::error::x',
  'a\r\n::error::x',
  '::stop-commands::x',
  '::endgroup::',
];

describe('this model of a runner', () => {
  it.each<[string, number]>([
    ['::error::x', 1],
    [' \t::error file=a,line=1::x', 1],
    ['a ::error::x', 0],
    ['::frobnicate::x', 0],
    ['::error', 0],
    ['a ##[error]x', 1],
    ['##[error', 0],
    ['::stop-commands::t\n::error::x\n::t::\n::error::y', 2],
    ['::stop-commands::t\n::error::x\n##[T]\n::error::y', 2],
    ['::stop-commands::t\n::error::x', 1],
  ])('%j: %i', (text, count) => {
    expect(commandsIn(text)).toHaveLength(count);
  });

  it('reads what a command says', () => {
    expect(commandsIn('::error file=a%2Cb%3A1,line=3::50%25 of%0Ait')).toEqual([
      { name: 'error', properties: { file: 'a,b:1', line: '3' }, data: '50% of\nit' },
    ]);
  });
});

describe('the log', () => {
  it('is a group in which nothing is a command, whatever stands there', () => {
    const log = stepLog(process.stdout);
    log.open('quern: build gauge.yaml\n::error::x', true);
    for (const attack of attacks) log.write(`${attack}\n`);
    process.stdout.write(`${attacks.join('\n')}\n`);
    log.close();
    expect(commandsIn(printed)).toEqual([
      { name: 'group', properties: {}, data: 'quern: build gauge.yaml\n::error::x' },
      { name: 'stop-commands', properties: {}, data: expect.stringMatching(/^[0-9a-f-]{36}$/u) },
      { name: 'endgroup', properties: {}, data: '' },
    ]);
  });

  it('uses every token once', () => {
    const log = stepLog(process.stdout);
    const tokens = Array.from({ length: 3 }, () => {
      printed = '';
      log.open('x', true);
      log.close();
      return commandsIn(printed).find(({ name }) => name === 'stop-commands')?.data;
    });
    expect(new Set(tokens).size).toBe(3);
  });

  it('leaves commands alone where they are wanted', () => {
    const log = stepLog(process.stdout);
    log.open('upload', false);
    process.stdout.write('::add-mask::secret\n');
    log.close();
    expect(commandsIn(printed).map(({ name }) => name)).toEqual(['group', 'add-mask', 'endgroup']);
  });

  it.each(attacks)('writes nothing that is a command outside of a group either: %j', (attack) => {
    stepLog(process.stdout).write(`${attack}\n`);
    expect(commandsIn(printed)).toEqual([]);
    expect(printed.endsWith('\n')).toBe(true);
  });

  it('has no text that makes a command', () => {
    const piece = fc.constantFrom(
      '::',
      ':',
      '##[',
      '#',
      '[',
      ']',
      'error',
      ' ',
      '\n',
      '\t',
      'a',
      '\r',
      '\u2028',
    );
    fc.assert(
      fc.property(fc.array(piece, { maxLength: 12 }), (pieces) => {
        printed = '';
        stepLog(process.stdout).write(pieces.join(''));
        expect(commandsIn(printed)).toEqual([]);
      }),
      { numRuns: 2000 },
    );
  });

  it('shows ordinary lines as they are', () => {
    const text = 'gauge.yaml:3:1: error[spec/unknown-key]: there is no key\n  help: a::b [#] # x';
    expect(harmless(text)).toBe(text);
  });
});
