import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { kconfigCodes } from '../../src/kconfig/codes.ts';
import { explainOverrides, fragmentRequests, type Request } from '../../src/kconfig/requests.ts';

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
    ['CONFIG_A="b" # c', 'CONFIG_A="b"'],
    ['CONFIG_A="b # c', 'CONFIG_A="b # c"'],
    ['CONFIG_A=y # later', 'CONFIG_A=y'],
    ['CONFIG_A=yes\t# later', 'CONFIG_A=y'],
    ['CONFIG_A=5 #', 'CONFIG_A=5'],
    [' A=n # later', '# CONFIG_A is not set'],
    ['config_kvm=y', 'CONFIG_KVM=y'],
    ['config_kvm', 'CONFIG_KVM=y'],
    ['kvm=y', 'CONFIG_KVM=y'],
    ['# config_kvm is not set', '# CONFIG_KVM is not set'],
    // One of the few names that are not all in capitals.
    [' CONFIG_SND_SOC_WM8994_x=y', 'CONFIG_SND_SOC_WM8994_x=y'],
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

  test('a byte-order mark at the head of the file is named, and the rest read', () => {
    const { value, diagnostics } = fragmentRequests(
      '\xef\xbb\xbfCONFIG_A=y\nCONFIG_B=yes\n',
      'serial.config',
    );
    expect(value.map(({ option }) => option)).toEqual(['A']);
    expect(diagnostics).toMatchObject([
      {
        code: 'kconfig/fragment-line',
        message:
          '`serial.config` begins with a byte-order mark, which the kernel takes for a part of its first line',
        span: { file: 'serial.config', start: 0, end: 3 },
        help: 'save it without',
      },
      { help: 'write `CONFIG_B=y`', span: { start: 14, end: 26 } },
    ]);
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
