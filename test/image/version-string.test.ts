import { execFileSync } from 'node:child_process';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { buildTimestamp, versionString } from '../../src/image/version-string.ts';

const lookUp =
  (options: Readonly<Record<string, string>>) =>
  (option: string): string | undefined =>
    options[option];

function sh(script: string, args: readonly string[]): string {
  return execFileSync('sh', ['-c', script, 'sh', ...args])
    .toString()
    .replace(/\n$/, '');
}

/**
 * Referees: the rule in shell, as it stands in the trees.
 * 6.1, 6.12, 7.2 init/Makefile, filechk_uts_version, after make has put the flags in;
 * 5.10 scripts/mkcompile_h, with its unquoted variables.
 */
const rules = {
  '6.1.192': 'echo "#$1" $2 $3 "$4" | cut -b -64',
  '5.10.223':
    'set -f; UTS_VERSION="#$1"; CONFIG_FLAGS="$2 $3"; TIMESTAMP=$4; echo $UTS_VERSION $CONFIG_FLAGS $TIMESTAMP | cut -b -64',
} as const;

describe('versionString', () => {
  const words: readonly [string, Readonly<Record<string, string>>][] = [
    ['', {}],
    ['SMP', { SMP: 'y' }],
    ['PREEMPT', { PREEMPT: 'y', PREEMPT_BUILD: 'y', PREEMPTION: 'y' }],
    ['SMP PREEMPT_DYNAMIC', { SMP: 'y', PREEMPT_VOLUNTARY: 'y', PREEMPT_BUILD: 'y', PREEMPT_DYNAMIC: 'y' }],
    ['SMP PREEMPT_RT', { SMP: 'y', PREEMPT_RT: 'y', PREEMPT_BUILD: 'y', PREEMPT_DYNAMIC: 'y' }],
    ['SMP', { SMP: 'y', PREEMPT_NONE: 'y', PREEMPT_NONE_BUILD: 'y', PREEMPT: 'n' }],
  ];
  it.each(words)('says "%s" of the configuration %j', (said, options) => {
    const { text } = versionString({
      config: lookUp(options),
      kernelVersion: '6.1.192',
      buildNumber: 1,
      timestamp: 'Tue Nov 14 22:13:20 UTC 2023',
    });
    expect(text).toBe(`#1 ${said === '' ? '' : `${said} `}Tue Nov 14 22:13:20 UTC 2023`);
  });

  // Debian's packages linux-image-6.1.0-56-cloud-amd64 and linux-image-6.12.117+deb12-cloud-amd64: their configuration
  // sets these, and file(1) reads this from their images. Their timestamp is a text of Debian's own.
  it("says what Debian's kernels say", () => {
    const config = lookUp({ SMP: 'y', PREEMPT_BUILD: 'y', PREEMPT_DYNAMIC: 'y', PREEMPT_VOLUNTARY: 'y' });
    for (const [kernelVersion, timestamp] of [
      ['6.1.192', 'Debian 6.1.192-2 (2026-11-16)'],
      ['6.12.117', 'Debian 6.12.117-1~deb12u1 (2026-11-14)'],
    ] as const) {
      expect(versionString({ config, kernelVersion, buildNumber: 1, timestamp }).text).toBe(
        `#1 SMP PREEMPT_DYNAMIC ${timestamp}`,
      );
    }
  });

  it.each(Object.entries(rules))('agrees with the rule of %s, cut included', (kernelVersion, rule) => {
    fc.assert(
      fc.property(
        fc.nat(253402300799),
        fc.constantFrom(...words),
        fc.nat({ max: 10 ** 12 }),
        fc.constantFrom('', ' of the river gauge', ' of the river gauge stations at Otter Bank'),
        (epoch, [said, options], buildNumber, more) => {
          const timestamp = buildTimestamp(epoch) + more;
          const [first = '', second = ''] = said.startsWith('SMP') ? said.split(' ') : ['', said];
          const expected = sh(rule, [String(buildNumber), first, second, timestamp]);
          const { text, truncated, bytes } = versionString({
            config: lookUp(options),
            kernelVersion,
            buildNumber,
            timestamp,
          });
          // make leaves out empty flags; the shell's word splitting does the same in these rules.
          expect(text).toBe(expected);
          expect(truncated).toBe(bytes > 64);
          expect(new TextEncoder().encode(text).length).toBe(Math.min(bytes, 64));
        },
      ),
      { numRuns: 40 },
    );
  });
});

describe('buildTimestamp', () => {
  it('writes the day in two columns', () => {
    expect(buildTimestamp(Date.UTC(2026, 0, 1) / 1000)).toBe('Thu Jan  1 00:00:00 UTC 2026');
  });

  // Referee: date(1) of the GNU coreutils, which is also what the kernel's build hands the text to.
  it('writes what date -u prints, and what date -d reads back', () => {
    fc.assert(
      fc.property(fc.nat(253402300799), (epoch) => {
        const date = (args: readonly string[]): string =>
          execFileSync('date', args, { env: { ...process.env, LC_ALL: 'C', TZ: 'Pacific/Auckland' } })
            .toString()
            .trimEnd();
        const text = buildTimestamp(epoch);
        expect(text).toBe(date(['-u', '-d', `@${epoch}`, '+%a %b %e %H:%M:%S %Z %Y']));
        expect(date(['-d', text, '+%s'])).toBe(String(epoch));
      }),
      { numRuns: 40, examples: [[0], [951782400], [253402300799]] },
    );
  });

  it.each([-1, 0.5, Number.NaN, 253402300800])('refuses %s', (epoch) => {
    expect(() => buildTimestamp(epoch)).toThrow(RangeError);
  });
});
