import { describe, expect, it } from 'vitest';

import { pinPackages } from '../../src/source/pin-packages.ts';
import { mergePackages } from '../../src/environment/package-index.ts';
import { records } from '../environment/packages.ts';

const index = mergePackages('amd64', [
  records(
    'dash 0.5; essential; depends: libc6\nlibc6 2.36\ngauge 1.0; depends: zlib, libc6; architecture: all\nzlib 1.2',
  ),
  records('libc6 2.36+deb12u1', 'debian-security'),
]);

describe('pinPackages', () => {
  it('pins by origin, path, size and digest, sorted by name', () => {
    const { value, diagnostics } = pinPackages(index, ['gauge']);
    expect(diagnostics).toEqual([]);
    expect(
      value.map((pin) => [pin.package, pin.version, pin.architecture, pin.essential, pin.origin]),
    ).toEqual([
      ['dash', '0.5', 'amd64', true, 'debian'],
      ['gauge', '1.0', 'all', false, 'debian'],
      ['libc6', '2.36+deb12u1', 'amd64', true, 'debian-security'],
      ['zlib', '1.2', 'amd64', false, 'debian'],
    ]);
    expect(value[1]).toEqual({
      package: 'gauge',
      version: '1.0',
      architecture: 'all',
      essential: false,
      origin: 'debian',
      path: 'pool/main/g/gauge/gauge_1.0_amd64.deb',
      size: 1000,
      sha256: '0'.repeat(64),
    });
  });

  it('does not depend on the order in which packages are wanted', () => {
    expect(pinPackages(index, ['zlib', 'gauge'])).toEqual(pinPackages(index, ['gauge', 'zlib']));
  });

  it('hands on what is wrong', () => {
    expect(pinPackages(index, ['heron']).diagnostics).toMatchObject([
      { code: 'environment/no-such-package' },
    ]);
  });
});
