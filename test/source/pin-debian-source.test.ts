import { describe, expect, it } from 'vitest';

import { pinDebianSource } from '../../src/source/pin-debian-source.ts';
import { release } from '../environment/packages.ts';

const index = release(
  'linux-source-6.1 6.1.192-2\nlinux-source-6.12 6.12.57-1~bpo12+1\nlinux-source 6.1.192-2\ngauge 1',
);

describe('pinDebianSource', () => {
  it.each([
    ['linux-source-6.1', '6.1', '6.1.192-2'],
    ['linux-source-6.1', '6.1.192', '6.1.192-2'],
    ['linux-source-6.1', '6.1.192-2', '6.1.192-2'],
    ['linux-source-6.12', '6.12', '6.12.57-1~bpo12+1'],
    ['linux-source-6.12', '6.12.57', '6.12.57-1~bpo12+1'],
  ])('%s %s', (name, version, found) => {
    const { value, diagnostics } = pinDebianSource(index, { package: name, version });
    expect(diagnostics).toEqual([]);
    expect(value).toMatchObject({
      kind: 'debian',
      package: name,
      version: found,
      origin: 'debian',
      size: 1000,
    });
    expect(value?.path).toContain(`${name}_${found}_`);
  });

  it.each([
    ['an older one', '6.1.191'],
    ['another series', '6.12'],
    ['half a number', '6.1.19'],
    ['half a series', '6'.concat('.')],
    ['another revision', '6.1.192-1'],
  ])('says what there is when asked for %s', (_, version) => {
    const { value, diagnostics } = pinDebianSource(index, { package: 'linux-source-6.1', version });
    expect(value).toBeUndefined();
    expect(diagnostics).toMatchObject([{ code: 'source/version-differs', exit: 2 }]);
    expect(diagnostics[0]?.message).toBe(
      `linux-source-6.1 has version 6.1.192-2, which is not \`${version}\``,
    );
    expect(diagnostics[0]?.notes.join()).toContain(
      'linux-source-6.1 (6.1.192-2), linux-source-6.12 (6.12.57-1~bpo12+1)',
    );
    expect(diagnostics[0]?.help).toMatch(/"6\.1".*"6\.1\.192"/);
  });

  it('says what there is when the package is not', () => {
    const { diagnostics } = pinDebianSource(index, { package: 'linux-source-6.6', version: '6.6' });
    expect(diagnostics).toMatchObject([{ code: 'source/no-debian-source', exit: 2 }]);
    expect(diagnostics[0]?.notes).toEqual([
      'The release has: linux-source-6.1 (6.1.192-2), linux-source-6.12 (6.12.57-1~bpo12+1).',
    ]);
  });
});
