import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { readConsole, type EmulatorEnd } from '../../src/boot/read-console.ts';

const ended: EmulatorEnd = { kind: 'exited', code: 0, said: '' };

/** A console of a boot that went well: serial lines end with CR LF. */
const good = [
  '[    0.000000] Linux version 6.1.192-otter (gauge@otter-bank)',
  '[    0.412345] Run /bin/busybox as init process',
  'loading 000000.ko',
  '[    0.500000] gauge: 3 stations at Otter Bank',
  '',
  '@quern release 6.1.192-otter',
  '@quern version #1 Thu Jan  1 00:00:00 UTC 2026',
  `@quern config ${'a'.repeat(64)}`,
  '@quern module 000000.ko loaded',
  "@quern module 000001.ko failed insmod: can't insert '/modules/000001.ko': unknown symbol in module",
  '@quern end',
  '[    1.600000] reboot: Restarting system',
  '',
].join('\r\n');

const panic = '[    0.700000] Kernel panic - not syncing: Attempted to kill init! exitcode=0x00000300';

describe('readConsole', () => {
  it('reads the report of a kernel that booted', () => {
    expect(readConsole(good, ended)).toEqual({
      verdict: {
        kind: 'booted',
        report: {
          release: '6.1.192-otter',
          version: '#1 Thu Jan  1 00:00:00 UTC 2026',
          config: 'a'.repeat(64),
          modules: [
            { file: '000000.ko', loaded: true, said: '' },
            {
              file: '000001.ko',
              loaded: false,
              said: "insmod: can't insert '/modules/000001.ko': unknown symbol in module",
            },
          ],
        },
      },
      complaints: [],
    });
  });

  it('finds no configuration where none is embedded', () => {
    const { verdict } = readConsole(good.replace(/config a+/, 'config none'), ended);
    expect(verdict.kind === 'booted' && 'config' in verdict.report).toBe(false);
  });

  it('takes a report behind a line that the kernel broke into', () => {
    expect(readConsole(good.replace('@quern release', '[ 1.0] x@quern release'), ended).verdict.kind).toBe(
      'booted',
    );
  });

  it.each<[string, string, EmulatorEnd, object]>([
    ['a panic at the end', `${good}${panic}\r\n`, ended, { kind: 'panic', line: panic }],
    [
      'a panic in a machine that hangs after it',
      `${panic}\r\nx`,
      { kind: 'timed-out' },
      { kind: 'panic', line: panic },
    ],
    [
      'a panic before the emulator fails',
      `${panic}\r\n`,
      { kind: 'exited', code: 1, said: '' },
      { kind: 'panic', line: panic },
    ],
    ['time running out', 'booting\r\nstill\r\n\r\n', { kind: 'timed-out' }, { kind: 'hang', last: 'still' }],
    [
      'time running out behind the report',
      good,
      { kind: 'timed-out' },
      { kind: 'hang', last: '[    1.600000] reboot: Restarting system' },
    ],
    ['nothing, till time runs out', '', { kind: 'timed-out' }, { kind: 'silent' }],
    ['nothing but blank lines', '\r\n \r\n', ended, { kind: 'silent' }],
    ['nothing, and the end', '', ended, { kind: 'silent' }],
    [
      'a restart before the report ends',
      good.replace('@quern end', ''),
      ended,
      { kind: 'restarted', last: '[    1.600000] reboot: Restarting system' },
    ],
    [
      'a restart without a release',
      good.replace('@quern release', 'release'),
      ended,
      { kind: 'restarted', last: '[    1.600000] reboot: Restarting system' },
    ],
    ['a flood', 'x\n'.repeat(9), { kind: 'flooded' }, { kind: 'flooded', last: 'x' }],
    [
      'an emulator that refuses',
      '',
      { kind: 'exited', code: 1, said: 'qemu: invalid kernel header\n' },
      { kind: 'emulator-failed', code: 1, said: 'qemu: invalid kernel header' },
    ],
    [
      'an emulator that is killed',
      good,
      { kind: 'exited', code: null, said: '' },
      { kind: 'emulator-failed', code: null, said: '' },
    ],
  ])('judges %s', (_, text, end, verdict) => {
    expect(readConsole(text, end).verdict).toEqual(verdict);
  });

  // Lines as lib/bug.c, arch/x86/kernel/dumpstack.c and traps.c print them.
  it.each([
    '[    1.234567] WARNING: CPU: 0 PID: 1 at kernel/async.c:99 run+0x1/0x2',
    'BUG: kernel NULL pointer dereference, address: 0000000000000000',
    '[   12.000000] Oops: 0002 [#1] PREEMPT SMP',
    '[    1.0] kernel BUG at mm/slub.c:1!',
    '[    1.0] general protection fault, probably for non-canonical address',
  ])('hears the complaint %s', (line) => {
    expect(readConsole(`${line}\r\n${good}`, ended).complaints).toEqual([line]);
  });

  it.each(['[    0.1] debug: no BUG: here', 'WARNING: the river rises'])(
    'takes %s for no complaint',
    (line) => {
      expect(readConsole(`${line}\r\n${good}`, ended).complaints).toEqual([]);
    },
  );

  it('never calls a boot good that panicked or did not end', () => {
    const lines = fc.array(fc.constantFrom(...good.split('\r\n'), panic, '@quern', '@quern module', 'junk'));
    const ends = fc.constantFrom<EmulatorEnd>(
      ended,
      { kind: 'timed-out' },
      { kind: 'exited', code: 1, said: '' },
    );
    fc.assert(
      fc.property(lines, ends, (some, end) => {
        const { verdict } = readConsole(some.join('\r\n'), end);
        if (verdict.kind !== 'booted') return;
        expect(end).toEqual(ended);
        expect(some).toContain('@quern end');
        expect(some).not.toContain(panic);
      }),
      { numRuns: 500 },
    );
  });
});
