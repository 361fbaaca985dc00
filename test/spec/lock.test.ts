import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { ImagePin, Lock } from '../../src/spec/lock.ts';
import { readLock } from '../../src/spec/read-lock.ts';
import { readSpec } from '../../src/spec/read-spec.ts';
import { formatLock } from '../../src/spec/write-lock.ts';
import { anyLock, anyLockOf } from './any-lock.ts';
import { hostileSpecs } from './hostile.ts';

const digest = (character: string) => character.repeat(64);

const lock: Lock = {
  lock: 1,
  spec: {
    name: 'gauge-station',
    kernel: { version: '6.1', source: { kind: 'debian', package: 'linux-source-6.1' } },
    arch: 'x86_64',
    config: {
      base: { kind: 'file', path: 'base.config' },
      fragments: ['serial-console.config'],
      set: [
        { option: 'CRC7', value: 'm' },
        { option: 'DEFAULT_HOSTNAME', value: '"otter-bank"' },
      ],
    },
    patches: ['patches/0001-gauge-banner.patch'],
    environment: { debian: 'bookworm' },
    localversion: '-gauge',
    build: { user: 'gauge', host: 'otter-bank', epoch: 1767225600 },
    outputs: ['image', 'modules'],
  },
  inputs: {
    origins: {
      security: { url: 'http://deb.otter-bank.example/debian-security' },
      debian: {
        url: 'http://deb.otter-bank.example/debian',
        snapshot: 'https://old.otter-bank.example/20260101T000000Z',
      },
    },
    indexes: [{ origin: 'debian', suite: 'bookworm', date: '2026-01-01T00:00:00Z', signer: 'A'.repeat(40) }],
    source: {
      kind: 'debian',
      package: 'linux-source-6.1',
      version: '6.1.192-2',
      origin: 'security',
      path: 'pool/main/l/linux/linux-source-6.1_6.1.192-2_all.deb',
      size: 139331676,
      sha256: digest('1'),
    },
    base: { path: 'base.config', sha256: digest('2') },
    fragments: [{ path: 'serial-console.config', sha256: digest('3') }],
    patches: [{ path: 'patches/0001-gauge-banner.patch', sha256: digest('4') }],
    packages: [
      {
        package: 'bc',
        version: '1.07.1-3+b1',
        architecture: 'amd64',
        essential: false,
        origin: 'debian',
        path: 'pool/main/b/bc/bc_1.07.1-3+b1_amd64.deb',
        size: 109648,
        sha256: digest('5'),
      },
      {
        package: 'dpkg',
        version: '1.21.23',
        architecture: 'amd64',
        essential: true,
        origin: 'debian',
        path: 'pool/main/d/dpkg/dpkg_1.21.23_amd64.deb',
        size: 1360000,
        sha256: digest('6'),
      },
    ],
  },
  answers: {
    toolchain: { ld: 'GNU ld (GNU Binutils for Debian) 2.40', gcc: 'gcc (Debian 12.2.0-14+deb12u1) 12.2.0' },
    variables: { srctree: '.', ARCH: 'x86_64' },
    probes: { 'gcc --version': 'gcc 12', "a 'quoted' \\word\t\xfc": '' },
    pack: digest('8'),
    kernelVersion: '6.1.192',
    kernelRelease: '6.1.192-gauge',
    versionString: '#1 Thu Jan  1 00:00:00 UTC 2026',
    epoch: 1767225600,
    config: digest('7'),
  },
};

describe('formatLock', () => {
  test('one pin per line, tables sorted, a line break at the end', () => {
    expect(formatLock(lock)).toMatchInlineSnapshot(`
      "{
        "lock": 1,
        "spec": {
          "name": "gauge-station",
          "kernel": {
            "version": "6.1",
            "source": { "kind": "debian", "package": "linux-source-6.1" }
          },
          "arch": "x86_64",
          "config": {
            "base": { "kind": "file", "path": "base.config" },
            "fragments": [
              "serial-console.config"
            ],
            "set": [
              { "option": "CRC7", "value": "m" },
              { "option": "DEFAULT_HOSTNAME", "value": "\\"otter-bank\\"" }
            ]
          },
          "patches": [
            "patches/0001-gauge-banner.patch"
          ],
          "environment": { "debian": "bookworm" },
          "localversion": "-gauge",
          "build": { "user": "gauge", "host": "otter-bank", "epoch": 1767225600 },
          "outputs": [
            "image",
            "modules"
          ]
        },
        "inputs": {
          "origins": {
            "debian": { "url": "http://deb.otter-bank.example/debian", "snapshot": "https://old.otter-bank.example/20260101T000000Z" },
            "security": { "url": "http://deb.otter-bank.example/debian-security" }
          },
          "indexes": [
            { "origin": "debian", "suite": "bookworm", "date": "2026-01-01T00:00:00Z", "signer": "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA" }
          ],
          "source": { "kind": "debian", "package": "linux-source-6.1", "version": "6.1.192-2", "origin": "security", "path": "pool/main/l/linux/linux-source-6.1_6.1.192-2_all.deb", "size": 139331676, "sha256": "1111111111111111111111111111111111111111111111111111111111111111" },
          "base": { "path": "base.config", "sha256": "2222222222222222222222222222222222222222222222222222222222222222" },
          "fragments": [
            { "path": "serial-console.config", "sha256": "3333333333333333333333333333333333333333333333333333333333333333" }
          ],
          "patches": [
            { "path": "patches/0001-gauge-banner.patch", "sha256": "4444444444444444444444444444444444444444444444444444444444444444" }
          ],
          "packages": [
            { "package": "bc", "version": "1.07.1-3+b1", "architecture": "amd64", "essential": false, "origin": "debian", "path": "pool/main/b/bc/bc_1.07.1-3+b1_amd64.deb", "size": 109648, "sha256": "5555555555555555555555555555555555555555555555555555555555555555" },
            { "package": "dpkg", "version": "1.21.23", "architecture": "amd64", "essential": true, "origin": "debian", "path": "pool/main/d/dpkg/dpkg_1.21.23_amd64.deb", "size": 1360000, "sha256": "6666666666666666666666666666666666666666666666666666666666666666" }
          ]
        },
        "answers": {
          "toolchain": {
            "gcc": "gcc (Debian 12.2.0-14+deb12u1) 12.2.0",
            "ld": "GNU ld (GNU Binutils for Debian) 2.40"
          },
          "variables": {
            "ARCH": "x86_64",
            "srctree": "."
          },
          "probes": {
            "a 'quoted' \\\\word\\tü": "",
            "gcc --version": "gcc 12"
          },
          "pack": "8888888888888888888888888888888888888888888888888888888888888888",
          "kernelVersion": "6.1.192",
          "kernelRelease": "6.1.192-gauge",
          "versionString": "#1 Thu Jan  1 00:00:00 UTC 2026",
          "epoch": 1767225600,
          "config": "7777777777777777777777777777777777777777777777777777777777777777"
        }
      }
      "
    `);
  });

  test('the order in which a lock was put together does not matter', () => {
    const turned = (value: unknown): unknown =>
      typeof value !== 'object' || value === null || Array.isArray(value)
        ? Array.isArray(value)
          ? value.map(turned)
          : value
        : Object.fromEntries(
            Object.entries(value)
              .reverse()
              .map(([key, one]) => [key, turned(one)]),
          );
    const other = readLock(JSON.stringify(turned(lock)), 'x').value;
    expect(other && formatLock(other)).toBe(formatLock(lock));
  });

  test('what is written is read again, and written the same', () => {
    fc.assert(
      fc.property(anyLock, (any) => {
        const text = formatLock(any);
        const { value, diagnostics } = readLock(text, 'x.lock.json');
        expect(diagnostics).toEqual([]);
        expect(value).toEqual(any);
        expect(JSON.parse(text)).toEqual(JSON.parse(JSON.stringify(any)));
        expect(value && formatLock(value)).toBe(text);
        for (const { package: name } of any.inputs.packages) {
          const lines = text.split('\n').filter((line) => line.includes(`{ "package": "${name}", `));
          expect(lines).toHaveLength(1);
          expect(lines[0]).toMatch(/\},?$/);
        }
      }),
    );
  });

  test('every spec that the reader accepts, hostile or not, can be locked and comes back equal', () => {
    const specs = hostileSpecs(800, 11).flatMap((text) => readSpec(text, 'x').value ?? []);
    expect(specs.length).toBeGreaterThan(40);
    for (const spec of specs) {
      const [any] = fc.sample(anyLockOf(spec), { numRuns: 1, seed: 5 });
      if (!any) throw new Error('no sample');
      expect(readLock(formatLock(any), 'x').value?.spec).toEqual(spec);
    }
  });

  test('a lock that could not be read again is not written', () => {
    expect(() =>
      formatLock({ ...lock, inputs: { ...lock.inputs, fragments: [{ path: '../x', sha256: digest('3') }] } }),
    ).toThrow('inputs.fragments.0.path');
  });
});

/** The lock with one piece of its text replaced; the diagnostics as `code@what is pointed at`. */
function found(search: string | RegExp, replacement: string): string[] {
  const text = formatLock(lock).replace(search, replacement);
  expect(text).not.toBe(formatLock(lock));
  return readLock(text, 'x.lock.json').diagnostics.map(
    ({ code, span }) => `${code.replace('spec/lock-', '')}@${span ? text.slice(span.start, span.end) : ''}`,
  );
}

describe('readLock', () => {
  // V8 names some of these places in its message, and others not
  test.each<[string, string, string, string]>([
    ['the marks of a merge', '{\n  "lock"', '<<<<<<< HEAD\n{\n  "lock"', '<<<<<<< HEAD\n{'],
    ['marks of a merge further down', '"essential": false', '\n=======\n"essential": false', '=======\n'],
    ['a word without quotes', '"amd64"', 'amd64', 'amd64'],
    ['a value left out', '"essential": false', '"essential": }', '}'],
  ])('shows where it is no JSON: %s', (_, written, edited, place) => {
    const text = formatLock(lock).replace(written, edited);
    const [diagnostic] = readLock(text, 'gauge-station.lock.json').diagnostics;
    expect(diagnostic?.code).toBe('spec/lock-json');
    expect(diagnostic?.span?.start).toBe(text.indexOf(edited) + edited.indexOf(place));
  });

  test.each<[string, string | RegExp, string, string[]]>([
    ['a digest too short', digest('5'), digest('5').slice(1), [`content@"${digest('5').slice(1)}"`]],
    ['a digest in capitals', digest('2'), digest('A'), [`content@"${digest('A')}"`]],
    [
      'a path that leads out',
      '"pool/main/b/bc/',
      '"../b/bc/',
      ['content@"../b/bc/bc_1.07.1-3+b1_amd64.deb"'],
    ],
    [
      'one in the middle',
      'pool/main/b/bc/',
      'pool/../b/bc/',
      ['content@"pool/../b/bc/bc_1.07.1-3+b1_amd64.deb"'],
    ],
    ['an absolute one', '"pool/main/b/bc/', '"/b/', ['content@"/b/bc_1.07.1-3+b1_amd64.deb"']],
    ['a blank in a path', 'b/bc/bc_', 'b/bc/ bc_', ['content@"pool/main/b/bc/ bc_1.07.1-3+b1_amd64.deb"']],
    [
      'a shell in a path',
      'b/bc/bc_1.07',
      'b/bc/$(id)_1.07',
      ['content@"pool/main/b/bc/$(id)_1.07.1-3+b1_amd64.deb"'],
    ],
    ['a package name', '"package": "bc"', '"package": "-bc"', ['content@"-bc"']],
    ['a version', '1.07.1-3+b1", "arch', '1 2", "arch', ['content@"1 2"']],
    ['a version of a source', '"6.1.192-2"', '"6.1;id"', ['content@"6.1;id"']],
    [
      'an architecture',
      '"amd64", "essential": false',
      '"amd64\\u2028", "essential": false',
      ['content@"amd64\\u2028"'],
    ],
    ['essential as a word', '"essential": false', '"essential": "false"', ['content@"false"']],
    ['a size below zero', '109648', '-1', ['content@-1']],
    ['a size that is none', '109648', '1.5', ['content@1.5']],
    ['a size beyond reason', '109648', '1e300', ['content@1e300']],
    [
      'a URL of another kind',
      'http://deb.otter-bank.example/debian"',
      'file:///debian"',
      ['content@"file:///debian"'],
    ],
    [
      'a URL with a password',
      'http://deb.otter-bank.example/debian"',
      'http://a:b@deb.example/debian"',
      ['content@"http://a:b@deb.example/debian"'],
    ],
    [
      'a URL with a slash at its end',
      'example/debian"',
      'example/debian/"',
      ['content@"http://deb.otter-bank.example/debian/"'],
    ],
    [
      'a URL with a query',
      'example/debian"',
      'example/debian?x"',
      ['content@"http://deb.otter-bank.example/debian?x"'],
    ],
    [
      'a URL that climbs',
      'example/debian"',
      'example/a/../b"',
      ['content@"http://deb.otter-bank.example/a/../b"'],
    ],
    [
      'a URL with a line break',
      'example/debian"',
      'example/a\\nb"',
      ['content@"http://deb.otter-bank.example/a\\nb"'],
    ],
    [
      'an origin that is not there',
      '"origin": "debian", "path": "pool/main/d',
      '"origin": "debain", "path": "pool/main/d',
      ['content@"debain"'],
    ],
    [
      'an origin from the prototype',
      '"origin": "debian", "path": "pool/main/d',
      '"origin": "constructor", "path": "pool/main/d',
      ['content@"constructor"'],
    ],
    ['an index from nowhere', '"origin": "debian", "suite"', '"origin": "x", "suite"', ['content@"x"']],
    ['a date', '"2026-01-01T00:00:00Z"', '"yesterday"', ['content@"yesterday"']],
    ['a fingerprint', 'A'.repeat(40), 'A'.repeat(16), [`content@"${'A'.repeat(16)}"`]],
    [
      'two files of one name',
      'dpkg/dpkg_1.21.23_amd64.deb',
      'dpkg/bc_1.07.1-3+b1_amd64.deb',
      ['content@"pool/main/d/dpkg/bc_1.07.1-3+b1_amd64.deb"'],
    ],
    ['another fragment', /"serial-console.config", "sha/, '"other.config", "sha', ['content@"other.config"']],
    ['another base', /"base.config", "sha/, '"other.config", "sha', ['content@"base"']],
    ['no base', /"base": \{ "path".*\n/, '', ['content@"inputs"']],
    ['one patch too few', /\{ "path": "patches.*\n/, '', ['content@"patches"']],
    [
      'another source',
      '"package": "linux-source-6.1", "version"',
      '"package": "linux-source-6.2", "version"',
      ['content@"source"'],
    ],
    [
      'another kind of source',
      '"kind": "debian", "package": "linux-source-6.1" }',
      '"kind": "tree", "path": "a" }',
      ['content@"source"'],
    ],
    [
      'no such kind',
      '"kind": "debian", "package": "linux-source-6.1", "version"',
      '"kind": "archive", "version"',
      ['content@"archive"'],
    ],
    ['another epoch', '"epoch": 1767225600,', '"epoch": 1767225601,', ['content@1767225601']],
    ['a program', '"ld":', '"ld\\n":', ['content@"GNU ld (GNU Binutils for Debian) 2.40"']],
    [
      'a program version of two lines',
      'GNU ld (',
      'GNU ld\\n(',
      ['content@"GNU ld\\n(GNU Binutils for Debian) 2.40"'],
    ],
    ['the end of a here-document', '"GNU ld (GNU Binutils for Debian) 2.40"', '"END"', ['content@"END"']],
    [
      'a release too long',
      '"6.1.192-gauge"',
      `"6.1.192-${'g'.repeat(60)}"`,
      [`content@"6.1.192-${'g'.repeat(60)}"`],
    ],
    [
      'a version string with a quote is fine, one with a bell is not',
      '"#1 Thu',
      '"#1 \\u0007Thu',
      ['content@"#1 \\u0007Thu Jan  1 00:00:00 UTC 2026"'],
    ],
    [
      'an option that brings another',
      '"value": "m"',
      '"value": "m\\nCONFIG_X=y"',
      ['content@"m\\nCONFIG_X=y"'],
    ],
    [
      'an option value out of its quotes',
      '"\\"otter-bank\\""',
      '"\\"otter\\"bank\\""',
      ['content@"\\"otter\\"bank\\""'],
    ],
    ['an option name', '"option": "CRC7"', '"option": "CRC7=m"', ['content@"CRC7=m"']],
    ['an unknown key', '"essential": false', '"essential": false, "trusted": true', ['content@true']],
    ['a key from the prototype', '"lock": 1,', '"lock": 1, "__proto__": {},', ['content@"__proto__"']],
    ['a key twice', '"essential": false', '"essential": false, "essential": false', ['content@"essential"']],
    ['a missing key', '"essential": false, ', '', ['content@{']],
    ['another format', '"lock": 1', '"lock": 2', ['version@2']],
    ['a format that is none', '"lock": 1', '"lock": "1"', ['version@"1"']],
    ['no format', '"lock": 1,', '', ['content@{']],
    ['a comma too many', '"lock": 1,', '"lock": 1,,', ['json@,']],
    ['a text cut short', /"answers"[^]*/, '', ['json@']],
  ])('%s', (_, search, replacement, expected) => {
    expect(found(search, replacement)).toEqual(expected);
  });

  test.each([
    '',
    ' ',
    'null',
    '1',
    '"lock"',
    '[]',
    '{}',
    '\ufeff{}',
    '{"lock":1}',
    '\0',
    '[[[[',
    '['.repeat(100_000),
    `${'['.repeat(100_000)}${']'.repeat(100_000)}`,
  ])('%j is an error of exit code 4 with a way out', (text) => {
    const { value, diagnostics } = readLock(text, 'x.lock.json');
    expect(value).toBeUndefined();
    expect(diagnostics.length).toBeGreaterThan(0);
    for (const { exit, help } of diagnostics)
      expect([exit, help]).toEqual([4, expect.stringContaining('quern pin')]);
  });

  test('a lock whose answers are those of an earlier version says how to keep its inputs', () => {
    const older = JSON.parse(formatLock(lock)) as { answers: Record<string, unknown> };
    for (const name of ['variables', 'probes', 'pack']) delete older.answers[name];
    expect(readLock(JSON.stringify(older), 'x').diagnostics).toMatchObject([
      {
        code: 'spec/lock-version',
        message:
          'the answers in the lock are those of an earlier version of Quern: they lack what the environment said',
        help: 'take `answers` out of the lock, or delete it to pin everything anew, and run `quern pin`',
      },
    ]);
    delete (older as { answers?: unknown }).answers;
    expect(readLock(JSON.stringify(older), 'x').value?.inputs).toEqual(lock.inputs);
  });

  test('an enormous lock is not read', () => {
    expect(readLock(' '.repeat(8 * 1024 * 1024 + 1), 'x').diagnostics).toMatchObject([
      { code: 'spec/lock-content' },
    ]);
  });

  test('what is said names the place in the lock', () => {
    const text = formatLock(lock).replace(digest('5'), 'x');
    expect(readLock(text, 'x').diagnostics[0]?.message).toBe(
      '`inputs.packages[0].sha256` cannot be `"x"`: a SHA-256 digest has 64 hexadecimal digits in lower case',
    );
  });

  test('damaged anywhere it is either refused or still satisfies the rules', () => {
    const text = formatLock(lock);
    fc.assert(
      fc.property(
        fc.nat(text.length - 1),
        fc.constantFrom('', '"', '\\', '/', '.', '0', ' ', '\n', '{', ',', '\u2028', '$'),
        (at, put) => {
          const { value, diagnostics } = readLock(text.slice(0, at) + put + text.slice(at + 1), 'x');
          expect(value === undefined).toBe(diagnostics.length > 0);
          if (value) expect(readLock(formatLock(value), 'x').value).toEqual(value);
        },
      ),
      { numRuns: 500 },
    );
  });
});

describe('a lock with an image', () => {
  const imageSpec = {
    ...lock.spec,
    environment: { ...lock.spec.environment, image: 'pier.example:5000/gauge/base:7' },
  };
  const image: ImagePin = {
    registry: 'pier.example:5000',
    repository: 'gauge/base',
    tag: '7',
    index: digest('a'),
    manifest: digest('b'),
    architecture: 'amd64',
    packages: ['make'],
    layers: [{ sha256: digest('c'), size: 30, compression: 'gzip', unpacked: digest('d') }],
  };
  const withImage: Lock = { ...lock, spec: imageSpec, inputs: { ...lock.inputs, image } };

  test('comes back, one layer a line', () => {
    const text = formatLock(withImage);
    expect(text).toContain(
      `        { "sha256": "${digest('c')}", "size": 30, "compression": "gzip", "unpacked": "${digest('d')}" }\n`,
    );
    expect(readLock(text, 'gauge.lock.json').diagnostics).toEqual([]);
    expect(readLock(text, 'gauge.lock.json').value).toEqual(withImage);
  });

  test.each<[string, Partial<ImagePin>]>([
    ['another registry', { registry: 'quay.example' }],
    ['another repository', { repository: 'gauge/other' }],
    ['a registry that is none', { registry: 'pier.example/x' }],
    ['a repository that climbs', { repository: '../gauge' }],
    ['no layer', { layers: [] }],
  ])('%s is refused', (_, change) => {
    const text = formatLock(withImage);
    const [key = ''] = Object.keys(change);
    const broken: unknown = JSON.parse(text, (name, value: unknown) =>
      name === 'image' && typeof value === 'object' ? { ...value, ...change } : value,
    );
    const { value, diagnostics } = readLock(JSON.stringify(broken), 'gauge.lock.json');
    expect(value).toBeUndefined();
    expect(diagnostics[0]?.message).toContain(key === 'layers' ? 'inputs.image.layers' : 'inputs.image');
  });

  test('a large text that is no JSON is not searched for the place', () => {
    const text = `${' '.repeat(200_000)}x`;
    const { value, diagnostics } = readLock(text, 'gauge.lock.json');
    expect(value).toBeUndefined();
    expect(diagnostics).toMatchObject([{ code: 'spec/lock-json', span: { start: text.length } }]);
  });

  test('what is missing is said to be missing, and no more', () => {
    const { value, diagnostics } = readLock('{ "lock": 1 }', 'gauge.lock.json');
    expect(value).toBeUndefined();
    expect(diagnostics.map(({ message }) => message)).toEqual(['`spec` is missing', '`inputs` is missing']);
  });

  test('an image that the spec does not name, and one that is not there', () => {
    const messages = (one: Lock): readonly string[] =>
      readLock(JSON.stringify(one), 'gauge.lock.json').diagnostics.map(({ message }) => message);
    expect(messages({ ...withImage, spec: lock.spec })).toEqual([
      '`inputs.image` cannot be this object: the pinned spec names none',
    ]);
    expect(messages({ ...withImage, inputs: lock.inputs })).toEqual([
      '`inputs.image` is missing: the pinned spec names `pier.example:5000/gauge/base:7`',
    ]);
  });

  test('a digest in the spec is that of the list, or of the manifest where there is no list', () => {
    const pinned = (sha256: string): Lock => ({
      ...withImage,
      spec: {
        ...imageSpec,
        environment: { debian: 'bookworm', image: `pier.example:5000/gauge/base:7@sha256:${sha256}` },
      },
    });
    const sound = (one: Lock): boolean => readLock(JSON.stringify(one), 'x.lock.json').value !== undefined;
    expect(sound(pinned(digest('a')))).toBe(true);
    expect(sound(pinned(digest('b')))).toBe(false);
  });
});
