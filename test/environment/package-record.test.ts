import { describe, expect, it } from 'vitest';

import { packagesReader } from '../../src/environment/package-record.ts';

const good = `Package: gauge-tools
Source: gauge (1.0)
Version: 2:1.0-3+b1
Installed-Size: 12
Architecture: amd64
Essential: yes
Multi-Arch: foreign
Priority: required
Pre-Depends: libotter1 (>= 1.2)
Depends: libc6,
 default-logger | logger
Provides: gauge (= 1.0), level-meter
Conflicts: old-gauge
Breaks: gauge-doc (<< 1)
Description: reads a river gauge
 with care
Filename: pool/main/g/gauge/gauge-tools_1.0-3+b1_amd64.deb
Size: 1234
SHA256: ${'ab'.repeat(32)}
`;

function read(text: string): ReturnType<ReturnType<typeof packagesReader>['end']> {
  const reader = packagesReader('debian');
  reader.feed(new TextEncoder().encode(text));
  return reader.end();
}

describe('packagesReader', () => {
  it('reads what a closure and a lock need', () => {
    expect(read(good)).toEqual({
      problems: [],
      records: [
        {
          origin: 'debian',
          package: 'gauge-tools',
          version: '2:1.0-3+b1',
          architecture: 'amd64',
          multiArch: 'foreign',
          priority: 'required',
          essential: true,
          preDepends: 'libotter1 (>= 1.2)',
          depends: 'libc6,\ndefault-logger | logger',
          conflicts: 'old-gauge',
          breaks: 'gauge-doc (<< 1)',
          provides: [{ name: 'gauge', relation: '=', version: '1.0' }, { name: 'level-meter' }],
          filename: 'pool/main/g/gauge/gauge-tools_1.0-3+b1_amd64.deb',
          size: 1234,
          sha256: 'ab'.repeat(32),
        },
      ],
    });
  });

  // What a lock has goes into paths and file lists: nothing but plain words may come in.
  it.each<[string, RegExp, string]>([
    ['no name', /^Package: .*\n/m, ''],
    ['a name with a slash', /gauge-tools$/m, '../gauge'],
    ['no version', /^Version: .*\n/m, ''],
    ['a version with a blank', /2:1.0-3\+b1$/m, '1 0'],
    ['a version that is a command', /2:1.0-3\+b1$/m, '1$(reboot)'],
    ['no architecture', /^Architecture: .*\n/m, ''],
    ['an absolute path', /pool\//, '/pool/'],
    ['a path that climbs', /pool\/main/, 'pool/../..'],
    ['a path with an option in it', /pool\/main/, 'pool/-o'],
    ['a path with a line separator', /pool\/main/, 'pool\u2028main'],
    ['a path with a quote', /pool\/main/, "pool/'main"],
    ['no path', /^Filename: .*\n/m, ''],
    ['a size that is no number', /1234/, '12e4'],
    ['a negative size', /1234/, '-1'],
    ['a size beyond all numbers', /1234/, '9'.repeat(30)],
    ['no digest', /^SHA256: .*\n/m, ''],
    ['a digest in capitals', /(ab)+$/m, 'AB'.repeat(32)],
    ['a digest that is too short', /(ab)+$/m, 'ab'],
    ['Provides that cannot be read', /level-meter/, 'level meter'],
  ])('refuses %s', (_, pattern, replacement) => {
    expect(good).toMatch(pattern);
    const { records, problems } = read(`${good}\n${good.replace(pattern, replacement)}`);
    expect(records).toHaveLength(1);
    expect(problems).toHaveLength(1);
    expect(problems[0]?.line).toBe(good.split('\n').length + 1);
  });
});
