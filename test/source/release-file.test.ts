import { describe, expect, it } from 'vitest';

import { readReleaseFile } from '../../src/source/release-file.ts';

const digest = 'ab'.repeat(32);
const good = `Origin: Otter Bank
Suite: oldstable
Codename: bookworm
Date: Sat, 11 Jul 2026 10:16:37 UTC
Valid-Until: Tue, 01 Dec 2026 00:34:33 UTC
Acquire-By-Hash: yes
MD5Sum:
 ${'ab'.repeat(16)}  10 main/binary-amd64/Packages
SHA256:
 ${digest}       10 main/binary-amd64/Packages
 ${digest} 12084798 main/binary-amd64/Packages.gz
`;

describe('readReleaseFile', () => {
  it('reads what names and dates a suite, and its digests', () => {
    expect(readReleaseFile(good)).toEqual({
      codename: 'bookworm',
      date: new Date('2026-07-11T10:16:37Z'),
      validUntil: new Date('2026-12-01T00:34:33Z'),
      byHash: true,
      files: new Map([
        ['main/binary-amd64/Packages', { sha256: digest, size: 10 }],
        ['main/binary-amd64/Packages.gz', { sha256: digest, size: 12084798 }],
      ]),
    });
  });

  it('does without what need not be there', () => {
    const short = readReleaseFile(good.replace(/^(Valid-Until|Acquire-By-Hash): .*\n/gm, ''));
    expect(short).toMatchObject({ byHash: false });
    expect(short).not.toHaveProperty('validUntil');
  });

  it.each<[string, RegExp, string, string]>([
    ['no codename', /^Codename: .*\n/m, '', 'Codename'],
    ['no date', /^Date: .*\n/m, '', 'Date'],
    ['a date in words of another kind', /^Date: .*$/m, 'Date: 2026-07-11', 'Date'],
    ['a date in another zone', /37 UTC/, '37 +0200', 'Date'],
    ['a month that is none', /Jul/, 'Ju1', 'Date'],
    ['a last day that cannot be read', /^Valid-Until: .*$/m, 'Valid-Until: soon', 'Valid-Until'],
    ['no digests but weak ones', /SHA256/, 'SHA1', 'SHA256'],
    ['two stanzas', /Date/, '\nDate', 'one stanza'],
    ['a field twice', /Origin: .*/, 'Codename: trixie', 'line 3'],
  ])('refuses %s', (_, pattern, replacement, fault) => {
    expect(good).toMatch(pattern);
    const read = readReleaseFile(good.replace(pattern, replacement));
    expect('fault' in read ? read.fault : '').toContain(fault);
  });
});
