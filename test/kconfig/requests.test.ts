import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { kconfigCodes } from '../../src/kconfig/codes.ts';
import { readDotConfig } from '../../src/kconfig/dot-config.ts';
import {
  assemble,
  explainOverrides,
  fragmentRequests,
  judge,
  lastRequests,
  type Request,
} from '../../src/kconfig/requests.ts';

/** Requests in the notation `CRC7=m`. */
function ask(...texts: string[]): Request[] {
  return texts.map((text, index) => {
    const at = text.indexOf('=');
    return {
      option: text.slice(0, at),
      value: text.slice(at + 1),
      origin: { file: 'x.config', line: index + 1 },
    };
  });
}

describe('fragmentRequests', () => {
  test('reads values, in order, with their lines, past comments and blanks', () => {
    const text =
      '# Console\r\nCONFIG_TTY=y\r\n\n# CONFIG_VT is not set\nCONFIG_A=n\nCONFIG_CMDLINE="a=\\"b\\" # c"\nCONFIG_N=-5  \nCONFIG_H=0x1F\nCONFIG_B=010\n# CONFIG_OLD=y\n#CONFIG_OLD=y\n# this is not set in stone';
    expect(fragmentRequests(text, 'serial.config')).toEqual({
      value: [
        ['TTY', 'y', 2],
        ['VT', 'n', 4],
        ['A', 'n', 5],
        ['CMDLINE', '"a=\\"b\\" # c"', 6],
        ['N', '-5', 7],
        ['H', '0x1F', 8],
        // Hexadecimal without its prefix, as the kernel allows it.
        ['B', '010', 9],
      ].map(([option, value, line]) => ({ option, value, origin: { file: 'serial.config', line } })),
      diagnostics: [],
    });
  });

  test.each([
    ['#CONFIG_A is not set', '# CONFIG_A is not set'],
    ['# CONFIG_A is not set.', '# CONFIG_A is not set'],
    ['#  CONFIG_A  is not set', '# CONFIG_A is not set'],
    [' # CONFIG_A is not set', '# CONFIG_A is not set'],
    ['# CONFIG_CONFIG_A is not set', '# CONFIG_A is not set'],
    ['CONFIG_CONFIG_A=y', 'CONFIG_A=y'],
    ['CONFIG_CONFIG_A=n', '# CONFIG_A is not set'],
    ['CONFIG_CONFIG_A=yes', 'CONFIG_A=y'],
    ['A=y', 'CONFIG_A=y'],
    ['A: y', 'CONFIG_A=y'],
    [' CONFIG_A=y', 'CONFIG_A=y'],
    ['CONFIG_A = y', 'CONFIG_A=y'],
    ['CONFIG_A', 'CONFIG_A=y'],
    ['CONFIG_A=', '# CONFIG_A is not set'],
    ['CONFIG_A=Y', 'CONFIG_A=y'],
    ['CONFIG_A=yes', 'CONFIG_A=y'],
    ['CONFIG_A=true', 'CONFIG_A=y'],
    ['CONFIG_A=off', '# CONFIG_A is not set'],
    ['CONFIG_A=module', 'CONFIG_A=m'],
    ['CONFIG_A=console=ttyS0', 'CONFIG_A="console=ttyS0"'],
    ["CONFIG_A='b'", 'CONFIG_A="b"'],
    ['CONFIG_A="b', 'CONFIG_A="b"'],
    ['CONFIG_A="b" # c', undefined],
    ['CONFIG_A=1.5', 'CONFIG_A="1.5"'],
    ['hello there', undefined],
    ['CONFIG_A="b\0"', undefined],
    ['CONFIG_A="b\u001b[31m"', undefined],
  ])('%j is an error; %s is meant', (line, instead) => {
    const { value, diagnostics } = fragmentRequests(`CONFIG_B=y\n${line}\nCONFIG_C=y`, 'serial.config');
    expect(value.map(({ option }) => option)).toEqual(['B', 'C']);
    expect(diagnostics).toMatchObject([
      {
        code: 'kconfig/fragment-line',
        exit: 2,
        span: { file: 'serial.config', start: 11, end: 11 + line.length },
      },
    ]);
    expect(diagnostics[0]?.message).toMatch(/^line 2 of `serial.config` asks for nothing: /);
    if (instead !== undefined) {
      expect(diagnostics[0]?.help).toBe(`write \`${instead}\``);
      expect(fragmentRequests(instead, 'x').diagnostics).toEqual([]);
    }
  });

  test('never throws, says a line at most once, and what it reads is one line', () => {
    const unit = fc.constantFrom(
      'CONFIG_',
      'A',
      '=',
      'y',
      '"',
      '\\',
      ' ',
      '#',
      ' is not set',
      '\n',
      '\r',
      '\0',
      '0x',
      '\t',
      'é',
    );
    fc.assert(
      fc.property(fc.string({ unit, maxLength: 60 }), (text) => {
        const { value, diagnostics } = fragmentRequests(text, 'x.config');
        expect(value.length + diagnostics.length).toBeLessThanOrEqual(text.split('\n').length);
        for (const request of value) {
          expect(request.option).toMatch(/^[A-Za-z0-9_]+$/);
          expect(request.value).not.toMatch(/[\0-\x08\n\r]/);
          expect(request.value).not.toBe('');
        }
      }),
      { numRuns: 500 },
    );
  });

  test('a hostile fragment takes no longer than its length', () => {
    const long = [
      'CONFIG_'.repeat(100_000),
      `# ${'CONFIG_'.repeat(100_000)} is not`,
      `A=${' '.repeat(700_000)}x`,
      `${' '.repeat(700_000)}x`,
      `CONFIG_A="${'\\"'.repeat(300_000)}`,
      `CONFIG_A=${'f'.repeat(700_000)}g`,
    ];
    const start = performance.now();
    expect(fragmentRequests(long.join('\n'), 'x').diagnostics.length).toBeGreaterThanOrEqual(4);
    expect(performance.now() - start).toBeLessThan(5000);
  });
});

describe('assemble', () => {
  const base = '#\n# head\n#\nCONFIG_A=y\n# CONFIG_B is not set\nCONFIG_C="x"\n# CONFIG_A=m\nCONFIG_AB=y\n';
  test.each([
    ['', [], ''],
    ['', ask('A=y', 'B=n'), 'CONFIG_A=y\n# CONFIG_B is not set\n'],
    [base, [], base],
    [
      base,
      ask('A=m'),
      '#\n# head\n#\n# CONFIG_B is not set\nCONFIG_C="x"\n# CONFIG_A=m\nCONFIG_AB=y\nCONFIG_A=m\n',
    ],
    [
      base,
      ask('B=y', 'C=n'),
      '#\n# head\n#\nCONFIG_A=y\n# CONFIG_A=m\nCONFIG_AB=y\nCONFIG_B=y\n# CONFIG_C is not set\n',
    ],
    ['CONFIG_A=y', ask('B=y'), 'CONFIG_A=y\nCONFIG_B=y\n'],
    ['CONFIG_A=y\nCONFIG_A=m\n', ask('A=n'), '# CONFIG_A is not set\n'],
    ['', ask('A=y', 'B=y', 'A=m'), 'CONFIG_B=y\nCONFIG_A=m\n'],
    ['# CONFIG_A is not set, once\nCONFIG_A=y\r\n', ask('A=m'), 'CONFIG_A=m\n'],
  ])('%j with %j', (text, requests, expected) => {
    expect(assemble(text, requests)).toBe(expected);
  });

  test('every request is in the result, once, at the end, in the order of the last requests', () => {
    const option = fc.constantFrom('A', 'B', 'C', 'AB');
    const value = fc.constantFrom('y', 'm', 'n', '16', '"x"');
    const pairs = fc.array(fc.tuple(option, value), { maxLength: 8 });
    fc.assert(
      fc.property(pairs, pairs, (before, after) => {
        const requests = ask(...after.map(([name, asked]) => `${name}=${asked}`));
        const result = assemble(
          assemble('# x\n', ask(...before.map(([name, asked]) => `${name}=${asked}`))),
          requests,
        );
        const { entries } = readDotConfig(result);
        const last = lastRequests(requests);
        expect(last.length === 0 ? [] : entries.slice(-last.length)).toMatchObject(
          last.map(({ option: name, value: asked }) => ({ option: name, value: asked })),
        );
        expect(new Set(entries.map((entry) => entry.option)).size).toBe(entries.length);
      }),
    );
  });

  test('no request can bring another one along', () => {
    expect(() => assemble('', ask('A="\nCONFIG_B=y\n"'))).toThrow('line break');
  });
});

describe('judge', () => {
  const config = [
    'CONFIG_YES=y',
    'CONFIG_MOD=m',
    '# CONFIG_NO is not set',
    'CONFIG_INT=16',
    'CONFIG_HEX=0x1F',
    'CONFIG_STR="otter-bank"',
    'CONFIG_UTF="gr\xc3\xbcn"',
    'CONFIG_EMPTY=',
  ].join('\n');
  const options = new Set('YES MOD NO INT HEX STR UTF EMPTY HIDDEN'.split(' '));

  test.each([
    ['YES=y', 'y', 'kept'],
    ['MOD=m', 'm', 'kept'],
    ['NO=n', 'n', 'kept'],
    ['HIDDEN=n', 'n', 'kept'],
    ['INT=16', '16', 'kept'],
    ['HEX=0x1f', '0x1F', 'kept'],
    ['HEX=0X01F', '0x1F', 'kept'],
    ['STR="otter-bank"', '"otter-bank"', 'kept'],
    ['STR="otter\\-bank"', '"otter-bank"', 'kept'],
    ['YES=m', 'y', 'raised'],
    ['YES=n', 'y', 'raised'],
    ['MOD=n', 'm', 'raised'],
    ['INT=15', '16', 'raised'],
    ['INT=-1', '16', 'raised'],
    ['HEX=0x1e', '0x1F', 'raised'],
    ['MOD=y', 'm', 'lowered'],
    ['NO=y', 'n', 'dropped'],
    ['NO=m', 'n', 'dropped'],
    ['HIDDEN=y', 'n', 'dropped'],
    ['HIDDEN=16', null, 'dropped'],
    ['HIDDEN="x"', null, 'dropped'],
    ['INT=17', '16', 'dropped'],
    ['INT=0x10', '16', 'dropped'],
    ['HEX=0x20', '0x1F', 'dropped'],
    ['EMPTY=5', '', 'dropped'],
    ['STR="x"', '"otter-bank"', 'dropped'],
    ['YES="y"', 'y', 'invalid'],
    ['NO=16', 'n', 'invalid'],
    ['INT=y', '16', 'invalid'],
    ['INT=n', '16', 'invalid'],
    ['INT="16"', '16', 'invalid'],
    ['STR=16', '"otter-bank"', 'invalid'],
    ['STR=y', '"otter-bank"', 'invalid'],
    ['NONE=y', 'n', 'unknown'],
    ['NONE=n', 'n', 'unknown'],
    ['NONE="x"', null, 'unknown'],
  ])('%s, got %s: %s', (request, value, verdict) => {
    const [judged, ...rest] = judge(ask(request), config, (option) => options.has(option));
    expect(rest).toEqual([]);
    expect(judged).toMatchObject({ value, verdict, requested: request.slice(request.indexOf('=') + 1) });
    expect(judged?.message).not.toBe('');
  });

  test.each([
    ['YES="y"', 'y'],
    ['INT="16"', '16'],
    ['STR=16', '"16"'],
    ['NO=16', undefined],
    ['INT=y', undefined],
  ])('%s could be written %s', (request, instead) => {
    const reason = judge(ask(request), config)[0]?.reason;
    expect(reason?.kind === 'wrong-type' ? reason.instead : 'none').toBe(instead);
  });

  test('without a list of options, one that is not there is no stranger', () => {
    expect(judge(ask('NONE=y'), config)[0]).toMatchObject({
      verdict: 'dropped',
      reason: { kind: 'not-offered' },
    });
    expect(judge(ask('NONE=y'), config, () => undefined)[0]?.verdict).toBe('dropped');
    expect(judge(ask('NONE=y'), config)[0]?.message).toContain('or the tree has no such option');
    expect(judge(ask('HIDDEN=y'), config, () => true)[0]?.message).not.toContain('no such option');
  });

  test('bytes are shown as the text they are', () => {
    expect(judge(ask('UTF="gr\xc3\xbcn"'), config)[0]).toMatchObject({
      verdict: 'kept',
      requested: '"grün"',
      value: '"grün"',
    });
    expect(judge(ask('UTF="gr\xfcn"'), config)[0]).toMatchObject({
      verdict: 'dropped',
      requested: '"gr\xfcn"',
    });
  });

  test('of several requests the last is judged, in its place', () => {
    const requests = ask('YES=n', 'MOD=m', 'YES=y');
    expect(
      judge(requests, config).map(({ option, verdict, origin }) => [option, verdict, origin.line]),
    ).toEqual([
      ['MOD', 'kept', 2],
      ['YES', 'kept', 3],
    ]);
  });

  test('as JSON it has the members that the commands promise', () => {
    expect(JSON.parse(JSON.stringify(judge(ask('NO=m'), config)))).toEqual([
      {
        option: 'NO',
        requested: 'm',
        value: 'n',
        verdict: 'dropped',
        reason: { kind: 'decided-otherwise' },
        message: 'it could be set, and is off: as a rule because another option of the same choice was taken',
        origin: { file: 'x.config', line: 1 },
      },
    ]);
  });
});

test('explainOverrides names all places and which one counts', () => {
  expect(explainOverrides(ask('A=y', 'B=y', 'A=m', 'B=y', 'C="\xc3\xbc"'))).toEqual([
    kconfigCodes.report('kconfig/overridden', {
      message: 'A is asked for more than once: `y` (x.config:1), then `m` (x.config:3)',
      notes: ['the last one counts'],
    }),
  ]);
  const noLine: Request = { option: 'A', value: '"\xc3\xbc"', origin: { file: 'gauge.yaml' } };
  expect(explainOverrides([...ask('A=y'), noLine])[0]?.message).toContain('then `"ü"` (gauge.yaml)');
});
