import { execFileSync } from 'node:child_process';

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import {
  compareDebianVersions,
  isDebianVersion,
  parseDebianVersion,
  satisfiesVersion,
} from '../../src/environment/debian-version.ts';

/** What dpkg says of each pair: `<`, `=` or `>`. One shell for all, since a process per question takes long. */
function askDpkg(pairs: readonly (readonly [string, string])[]): readonly string[] {
  const script = `while read -r a b; do
    if dpkg --compare-versions "$a" lt "$b"; then echo '<'
    elif dpkg --compare-versions "$a" eq "$b"; then echo '='
    else echo '>'; fi; done`;
  const input = pairs.map(([a, b]) => `${a} ${b}\n`).join('');
  return execFileSync('sh', ['-c', script], { input, encoding: 'utf8' }).trim().split('\n');
}

function sign(order: number): string {
  return order < 0 ? '<' : order > 0 ? '>' : '=';
}

const piece = fc.oneof(
  fc.stringMatching(/^[0-9]{1,3}$/),
  fc.constantFrom(
    '~',
    '~~',
    '+',
    '.',
    '0',
    '00',
    'a',
    'rc',
    'Z',
    'deb12u1',
    '~bpo12',
    '+b1',
    '99999999999999999999',
  ),
);
const upstream = fc
  .tuple(fc.nat(12), fc.array(piece, { maxLength: 5 }))
  .map(([first, rest]) => `${first}${rest.join('')}`);
const revision = fc.option(fc.array(piece, { minLength: 1, maxLength: 4 }).map((parts) => parts.join('')));
const epoch = fc.option(fc.nat(3), { freq: 4 });
const version = fc
  .tuple(epoch, upstream, revision)
  .map(([e, u, r]) => `${e === null ? '' : `${e}:`}${u}${r === null ? '' : `-${r}`}`);

describe('compareDebianVersions', () => {
  // Debian Policy section 5.6.12, its own examples among them
  it.each([
    ['~~', '<', '~~a'],
    ['~~a', '<', '~'],
    ['~', '<', ''],
    ['', '<', 'a'],
    ['1.0~rc1', '<', '1.0'],
    ['1.0', '<', '1.0+b1'],
    ['1.2', '<', '1.10'],
    ['1.0', '=', '0:1.0'],
    ['1.0', '=', '1.0-0'],
    ['1.0', '=', '1.00'],
    ['9', '<', '1:0'],
    ['1-2-3', '>', '1-2'],
    ['6.1.9-1', '<', '6.1.10-1'],
    ['6.12.57-1~bpo12+1', '<', '6.12.57-1'],
    ['1.a', '<', '1.+'],
    ['123456789012345678901', '>', '99999999999999999999'],
  ])('%j %s %j', (left, order, right) => {
    expect(sign(compareDebianVersions(left, right))).toBe(order);
    expect(sign(-compareDebianVersions(right, left))).toBe(order);
  });

  it('agrees with dpkg on generated pairs', () => {
    const near = fc
      .tuple(version, fc.array(piece, { maxLength: 2 }))
      .map(([a, more]) => [a, a + more.join('')] as const);
    const pairs = fc.sample(fc.oneof(fc.tuple(version, version), near), { numRuns: 200, seed: Date.now() });
    const ours = pairs.map(([a, b]) => `${a} ${sign(compareDebianVersions(a, b))} ${b}`);
    const answers = askDpkg(pairs);
    expect(ours).toEqual(pairs.map(([a, b], place) => `${a} ${answers[place] ?? ''} ${b}`));
  });

  it('is an order', () => {
    fc.assert(
      fc.property(version, version, version, (a, b, c) => {
        const list = [a, b, c].sort(compareDebianVersions);
        expect(compareDebianVersions(list[0] ?? '', list[2] ?? '')).toBeLessThanOrEqual(0);
        expect(Math.sign(compareDebianVersions(a, b)) + Math.sign(compareDebianVersions(b, a))).toBe(0);
      }),
    );
  });
});

describe('satisfiesVersion', () => {
  it.each([
    ['<<', [true, false, false]],
    ['<=', [true, true, false]],
    ['=', [false, true, false]],
    ['>=', [false, true, true]],
    ['>>', [false, false, true]],
  ] as const)('%s', (relation, expected) => {
    expect(['1.0', '2.0', '3.0'].map((one) => satisfiesVersion(one, relation, '2.0-0'))).toEqual(expected);
  });
});

describe('parseDebianVersion', () => {
  it.each([
    ['2:1.0-3', { epoch: '2', upstream: '1.0', revision: '3' }],
    ['1.0', { epoch: '0', upstream: '1.0', revision: '' }],
    ['1.0-rc1-2', { epoch: '0', upstream: '1.0-rc1', revision: '2' }],
  ])('%s', (text, parts) => {
    expect(parseDebianVersion(text)).toEqual(parts);
  });
});

describe('isDebianVersion', () => {
  it.each(['1', '6.1.192-2', '2:8.39-15', '1.0~rc1+dfsg-1+b2', '1.0-1-1'])('takes %j', (text) => {
    expect(isDebianVersion(text)).toBe(true);
  });

  it.each(['', 'a', '-1', '1-', '1 2', '1;rm', '1/2', '$(x)', 'x:1', '1:', '1\n', '1.0_1'])(
    'refuses %j',
    (text) => {
      expect(isDebianVersion(text)).toBe(false);
    },
  );
});
