import fc from 'fast-check';
import { isDeepStrictEqual } from 'node:util';
import { describe, expect, test } from 'vitest';
import { compareWithLock, specDifferences, staleParts } from '../../src/spec/compare-lock.ts';
import type { Lock } from '../../src/spec/lock.ts';
import { readSpec } from '../../src/spec/read-spec.ts';
import type { Spec } from '../../src/spec/spec.ts';
import { anyLockOf, anySpec } from './any-lock.ts';

const before = `quern: 1
name: gauge-station
kernel: { version: "6.1", source: { debian: linux-source-6.1 } }
arch: x86_64
config:
  base: tinyconfig
  fragments: [serial-console.config, radio.config]
  set: { MODULES: y, CRC7: m, LOG_BUF_SHIFT: 16 }
patches: [a.patch, b.patch]
environment: { debian: bookworm }
build: { epoch: 2026-01-01T00:00:00Z }
`;

function read(text: string): Spec {
  const { value, diagnostics } = readSpec(text, 'gauge.yaml');
  if (!value) throw new Error(diagnostics.map(({ message }) => message).join('\n'));
  return value;
}

function lockOf(spec: Spec): Lock {
  const [lock] = fc.sample(anyLockOf(spec), { numRuns: 1, seed: 3 });
  if (!lock) throw new Error('no sample');
  return lock;
}

/** A change of the spec, what is said of it, and the parts of the lock that it makes stale. */
const changes: readonly (readonly [string, string, string, string[], string])[] = [
  [
    'the name',
    'name: gauge-station',
    'name: gauge',
    ['`name`: the lock was made for `gauge-station`, the spec says `gauge`'],
    '',
  ],
  [
    'the version',
    'version: "6.1"',
    'version: "6.1.192"',
    ['`kernel.version`: the lock was made for `6.1`, the spec says `6.1.192`'],
    'source answers',
  ],
  [
    'the source',
    '{ debian: linux-source-6.1 }',
    '{ tree: linux }',
    ['`kernel.source`: the lock was made for `debian linux-source-6.1`, the spec says `tree linux`'],
    'source answers',
  ],
  [
    'the base',
    'base: tinyconfig',
    'base: ./tinyconfig',
    ['`config.base`: the lock was made for `tinyconfig`, the spec says `./tinyconfig`'],
    'base answers',
  ],
  [
    'a base out of a package',
    'base: tinyconfig',
    'base: { debian: linux-config-6.1, config: amd64_none_amd64 }',
    ['`config.base`: the lock was made for `tinyconfig`, the spec says `linux-config-6.1 amd64_none_amd64`'],
    'base answers',
  ],
  [
    'an option',
    'CRC7: m',
    'CRC7: y',
    ['`config.set.CRC7`: the lock was made for `m`, the spec says `y`'],
    'answers',
  ],
  [
    'a number turned string',
    'SHIFT: 16',
    'SHIFT: "16"',
    ['`config.set.LOG_BUF_SHIFT`: the lock was made for `16`, the spec says `"16"`'],
    'answers',
  ],
  [
    'an option more',
    'CRC7: m',
    'CRC7: m, CRC8: m',
    ['`config.set.CRC8`: the lock was made without it, the spec says `m`'],
    'answers',
  ],
  [
    'an option less',
    'CRC7: m, ',
    '',
    ['`config.set.CRC7`: the lock was made for `m`, the spec no longer has it'],
    'answers',
  ],
  [
    'the order of options',
    'MODULES: y, CRC7: m',
    'CRC7: m, MODULES: y',
    ['`config.set`: the lock was made for another order of the options'],
    'answers',
  ],
  [
    'a fragment more',
    'radio.config',
    'radio.config, x.config',
    ['`config.fragments[2]`: the lock was made without `x.config`'],
    'files answers',
  ],
  [
    'another patch',
    'a.patch,',
    'c.patch,',
    [
      '`patches`: the lock was made with `a.patch`, which the spec no longer has',
      '`patches[0]`: the lock was made without `c.patch`',
    ],
    'files answers',
  ],
  [
    'the order of patches',
    'a.patch, b.patch',
    'b.patch, a.patch',
    ['`patches`: the lock was made for another order'],
    'files answers',
  ],
  [
    'the release',
    'bookworm',
    'trixie',
    ['`environment.debian`: the lock was made for `bookworm`, the spec says `trixie`'],
    'source packages answers',
  ],
  [
    'an image',
    'bookworm',
    'bookworm, image: debian',
    ['`environment.image`: the lock was made for none, the spec says `debian`'],
    'image packages answers',
  ],
  [
    'a snapshot',
    'bookworm',
    'bookworm, snapshot: 2026-01-01T00:00:00Z',
    ['`environment.snapshot`: the lock was made for none, the spec says `2026-01-01T00:00:00Z`'],
    'source packages answers',
  ],
  [
    'the compiler',
    'bookworm',
    'bookworm, gcc: 11',
    ['`environment.gcc`: the lock was made for none, the spec says `11`'],
    'packages answers',
  ],
  [
    'the local version',
    'arch:',
    'localversion: -gauge\narch:',
    ['`localversion`: the lock was made for none, the spec says `-gauge`'],
    'answers',
  ],
  [
    'the user',
    '{ epoch',
    '{ user: gauge, epoch',
    ['`build.user`: the lock was made for `builder`, the spec says `gauge`'],
    '',
  ],
  [
    'the host',
    '{ epoch',
    '{ host: otter-bank, epoch',
    ['`build.host`: the lock was made for `quern`, the spec says `otter-bank`'],
    '',
  ],
  [
    'the time',
    '2026-01-01T00:00:00Z',
    '2026-01-01T00:00:01Z',
    ['`build.epoch`: the lock was made for `1767225600`, the spec says `1767225601`'],
    'answers',
  ],
  [
    'no time',
    'build: { epoch: 2026-01-01T00:00:00Z }',
    '',
    ['`build.epoch`: the lock was made for `1767225600`, the spec says none'],
    'answers',
  ],
  [
    'the outputs',
    'arch:',
    'outputs: [image]\narch:',
    ['`outputs`: the lock was made for `image, modules`, the spec says `image`'],
    '',
  ],
  [
    'two things',
    'CRC7: m, LOG_BUF_SHIFT: 16',
    'CRC7: y, LOG_BUF_SHIFT: 17',
    [
      '`config.set.CRC7`: the lock was made for `m`, the spec says `y`',
      '`config.set.LOG_BUF_SHIFT`: the lock was made for `16`, the spec says `17`',
    ],
    'answers',
  ],
];

describe('compareWithLock', () => {
  const lock = lockOf(read(before));

  test.each(changes)('%s', (_, search, replacement, messages) => {
    const text = before.replace(search, replacement);
    const diagnostics = compareWithLock(read(text), lock);
    expect(diagnostics.map(({ message }) => message)).toEqual(messages);
    for (const { code, exit, help } of diagnostics) {
      expect([code, exit, help]).toEqual(['spec/lock-differs', 2, expect.stringContaining('quern pin')]);
    }
  });

  test('other words for the same are no difference', () => {
    const same = before
      .replace('tinyconfig', '"tinyconfig"')
      .replace('2026-01-01T00:00:00Z', '1767225600')
      .replace('[a.patch', '[./a.patch')
      .concat('outputs: [modules, image]\nlocalversion: ""\n');
    expect(compareWithLock(read(same), lock)).toEqual([]);
  });

  test('points into the spec where it is given the places', () => {
    const text = before.replace('CRC7: m', 'CRC7: y');
    const { place } = readSpec(text, 'gauge.yaml');
    const [span] = compareWithLock(read(text), lock, place).map((one) => one.span);
    expect(span && text.slice(span.start - 6, span.end)).toBe('CRC7: y');
  });

  test('finds a difference exactly when there is one', () => {
    const pair = fc.oneof(
      fc.tuple(anySpec, anySpec),
      // Specs that share most of what they have.
      fc
        .tuple(
          anySpec,
          anySpec,
          fc.constantFrom(
            'name',
            'kernel',
            'config',
            'patches',
            'environment',
            'localversion',
            'build',
            'outputs',
          ),
        )
        .map(([one, other, key]) => [one, { ...one, [key]: other[key as keyof Spec] }] as [Spec, Spec]),
    );
    fc.assert(
      fc.property(pair, ([one, other]) => {
        expect(specDifferences(one, other).length === 0).toBe(
          // Some of the generated records have no prototype, which is no difference here.
          isDeepStrictEqual(structuredClone(one), structuredClone(other)),
        );
        expect(specDifferences(one, one)).toEqual([]);
      }),
      { numRuns: 500 },
    );
  });
});

describe('staleParts', () => {
  const lock = lockOf(read(before));

  test.each(changes)('%s', (_, search, replacement, __, parts) => {
    const stale = staleParts(read(before.replace(search, replacement)), lock);
    const names = Object.entries(stale)
      .filter(([, isStale]) => isStale)
      .map(([name]) => name);
    expect(names.join(' ')).toBe(parts);
  });

  test('nothing changed, nothing stale', () => {
    expect(staleParts(read(before), lock)).toEqual({
      source: false,
      image: false,
      packages: false,
      base: false,
      files: false,
      answers: false,
    });
  });

  test('a base out of a package hangs on the release', () => {
    const packaged = before.replace(
      'base: tinyconfig',
      'base: { debian: linux-config-6.1, config: amd64_none_amd64 }',
    );
    const moved = packaged.replace('debian: bookworm', 'debian: trixie');
    expect(moved).not.toBe(packaged);
    expect(staleParts(read(moved), lockOf(read(packaged))).base).toBe(true);
  });

  test('a source from the disk does not hang on the release', () => {
    const local = before.replace('{ debian: linux-source-6.1 }', '{ tarball: linux.tar.xz }');
    const moved = read(local.replace('bookworm', 'trixie'));
    expect(staleParts(moved, lockOf(read(local)))).toMatchObject({
      source: false,
      packages: true,
      answers: true,
    });
  });
});
