import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { applyMirrors, parseMirrors } from '../../src/host/mirrors.ts';

const debian = 'http://deb.debian.org/debian';
const near = 'http://mirror.otter-bank.example/debian';

describe('QUERN_MIRRORS', () => {
  it.each<[string, string, string, string]>([
    ['nothing', '', `${debian}/pool/a.deb`, `${debian}/pool/a.deb`],
    ['a prefix', `${debian}=${near}`, `${debian}/pool/a.deb`, `${near}/pool/a.deb`],
    ['the whole URL', `${debian}=${near}`, debian, near],
    [
      'not half a word',
      `${debian}=${near}`,
      `${debian}-security/pool/a.deb`,
      `${debian}-security/pool/a.deb`,
    ],
    [
      'a whole host',
      'http://deb.debian.org=https://m.example:8080',
      `${debian}/a`,
      'https://m.example:8080/debian/a',
    ],
    [
      'the longest first',
      `http://deb.debian.org=http://x.example ${debian}=${near}`,
      `${debian}/a`,
      `${near}/a`,
    ],
    [
      'several lines',
      `\n ${debian}=${near}\n\thttp://a.example=http://b.example\n`,
      'http://a.example/z',
      'http://b.example/z',
    ],
    ['prefixes that end in a slash', `${debian}/=${near}/`, `${debian}/a`, `${near}/a`],
    [
      'equal signs',
      `http://a.example/?x=y=http://b.example/?z=`,
      'http://a.example/?x=y',
      'http://b.example/?z=',
    ],
    [
      'once, not again',
      `http://a.example=http://b.example http://b.example=http://c.example`,
      'http://a.example/x',
      'http://b.example/x',
    ],
  ])('replaces %s', (_, setting, url, expected) => {
    expect(applyMirrors(url, parseMirrors(setting))).toBe(expected);
  });

  it.each([
    'x',
    'http://a.example',
    'a=b',
    '=http://a.example',
    'http://a.example=',
    'http://a.example=file:///etc',
    'ftp://a=http://b',
  ])('refuses %j', (setting) => {
    const parse = (): unknown => parseMirrors(setting);
    expect(parse).toThrow(Failure);
    expect(parse).toThrow('QUERN_MIRRORS');
  });

  it('reads what it is told or says what is wrong, whatever it is', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'binary' }), (setting) => {
        try {
          parseMirrors(setting);
        } catch (error) {
          expect(error).toBeInstanceOf(Failure);
        }
      }),
    );
  });
});
