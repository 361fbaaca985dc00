import { describe, expect, it } from 'vitest';
import { missingOptions } from '../../src/boot/console-options.ts';
import { judgeBoot, type Expected } from '../../src/boot/judge-boot.ts';
import type { BootVerdict } from '../../src/boot/read-console.ts';
import { emulatorOf } from './world.ts';

const expected: Expected = {
  release: '6.1.192-otter',
  versionString: '#1 Thu Jan  1 00:00:00 UTC 2026',
  config: 'a'.repeat(64),
  modules: ['crc7', 'gauge'],
};
const report = {
  release: expected.release,
  version: expected.versionString,
  config: 'a'.repeat(64),
  modules: [
    { file: '000000-crc7.ko', loaded: true, said: '' },
    { file: '000001-gauge.ko', loaded: true, said: '' },
  ],
};
const { config: _, ...withoutConfig } = report;

const judge = (
  verdict: BootVerdict,
  missing = missingOptions('', emulatorOf('x86_64')),
): readonly { code: string; exit: number }[] =>
  judgeBoot({ verdict, complaints: [] }, { expected, missing, seconds: 60 }).map(({ code, exit }) => ({
    code,
    exit,
  }));

describe('judgeBoot', () => {
  it.each<[string, Partial<typeof report> | typeof withoutConfig, string[]]>([
    ['the recorded kernel', {}, []],
    ['another release', { release: '6.1.0' }, ['boot/release-differs']],
    ['another build stamp', { version: '#2 Thu Jan  1 00:00:00 UTC 2026' }, ['boot/version-differs']],
    ['another configuration', { config: 'b'.repeat(64) }, ['boot/config-differs']],
    [
      'a module that fails',
      { modules: [{ file: '000001-gauge.ko', loaded: false, said: 'no' }] },
      ['boot/module-failed'],
    ],
    [
      'all at once',
      { release: 'x', version: 'y', config: 'z' },
      ['boot/release-differs', 'boot/version-differs', 'boot/config-differs'],
    ],
  ])('of %s says %j', (_name, change, codes) => {
    expect(judge({ kind: 'booted', report: { ...report, ...change } }).map(({ code }) => code)).toEqual(
      codes,
    );
  });

  it('notes that nothing could be compared where no configuration is embedded', () => {
    expect(judge({ kind: 'booted', report: withoutConfig })).toEqual([
      { code: 'boot/config-not-embedded', exit: 0 },
    ]);
  });

  it('calls modules by their names', () => {
    const modules = [{ file: '000001-gauge.ko', loaded: false, said: 'unknown symbol' }];
    const [one] = judgeBoot(
      { verdict: { kind: 'booted', report: { ...report, modules } }, complaints: [] },
      { expected, missing: [], seconds: 60 },
    );
    expect(one?.message).toContain('`gauge`');
    expect(one?.notes.join()).toContain('unknown symbol');
  });

  it.each<[BootVerdict, string, number]>([
    [{ kind: 'panic', line: 'Kernel panic - not syncing: VFS' }, 'boot/panic', 1],
    [{ kind: 'hang', last: 'x' }, 'boot/hang', 1],
    [{ kind: 'silent' }, 'boot/silent', 1],
    [{ kind: 'restarted', last: 'x' }, 'boot/restarted', 1],
    [{ kind: 'flooded', last: 'x' }, 'boot/flooded', 1],
    [{ kind: 'emulator-failed', code: 1, said: 'x' }, 'boot/emulator-failed', 3],
  ])('of %j says %s, exit code %i', (verdict, code, exit) => {
    expect(judge(verdict)).toEqual([{ code, exit }]);
  });

  it('names the options that a silent kernel lacks', () => {
    const missing = missingOptions(
      'CONFIG_64BIT=y\nCONFIG_PRINTK=y\nCONFIG_BLK_DEV_INITRD=y\nCONFIG_BINFMT_ELF=y\n# CONFIG_TTY is not set\nCONFIG_SERIAL_8250=m\n',
      emulatorOf('x86_64'),
    );
    expect(missing.map(({ option }) => option)).toEqual(['TTY', 'SERIAL_8250', 'SERIAL_8250_CONSOLE']);
    const [one] = judgeBoot(
      { verdict: { kind: 'silent' }, complaints: [] },
      { expected, missing, seconds: 60 },
    );
    for (const { option } of missing) expect(one?.notes.join('\n')).toContain(option);
  });

  it('passes complaints of the kernel on', () => {
    const found = judgeBoot(
      { verdict: { kind: 'booted', report }, complaints: ['BUG: x'] },
      { expected, missing: [], seconds: 60 },
    );
    expect(found.map(({ code, severity }) => [code, severity])).toEqual([['boot/complaint', 'warning']]);
  });
});

describe('missingOptions', () => {
  const all = [
    '64BIT',
    'PRINTK',
    'TTY',
    'SERIAL_8250',
    'SERIAL_8250_CONSOLE',
    'BLK_DEV_INITRD',
    'BINFMT_ELF',
  ];
  const config = all.map((option) => `CONFIG_${option}=y\n`).join('');

  it('finds nothing missing in a configuration that has all', () => {
    expect(missingOptions(config, emulatorOf('x86_64'))).toEqual([]);
  });

  it.each(all)('misses %s', (option) => {
    for (const line of ['', `# CONFIG_${option} is not set\n`, `CONFIG_${option}=m\n`]) {
      const found = missingOptions(config.replace(`CONFIG_${option}=y\n`, line), emulatorOf('x86_64'));
      expect(found.map((one) => one.option)).toEqual([option]);
    }
  });

  it('misses the command line of a kernel that ignores it', () => {
    expect(missingOptions(`${config}CONFIG_CMDLINE_OVERRIDE=y\n`, emulatorOf('x86_64'))).toHaveLength(1);
  });
});
