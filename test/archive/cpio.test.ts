import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, readlinkSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { writeCpio, type CpioEntry } from '../../src/archive/cpio.ts';

/** Referee: GNU cpio where it is installed, else the cpio of busybox. */
const cpio: readonly string[] =
  spawnSync('cpio', ['--version']).status === 0 ? ['cpio'] : ['busybox', 'cpio'];

function runCpio(args: readonly string[], archive: Uint8Array, cwd?: string): string {
  const [program = 'cpio', ...first] = cpio;
  return execFileSync(program, [...first, ...args], {
    input: archive,
    cwd,
    stdio: 'pipe',
    env: { ...process.env, TZ: 'UTC' },
  }).toString();
}

const text = (value: string): Uint8Array => new TextEncoder().encode(value);

const station: readonly CpioEntry[] = [
  { kind: 'file', path: 'bin/gauge', mode: 0o755, bytes: text('reads the river\n') },
  { kind: 'directory', path: 'bin' },
  { kind: 'directory', path: 'dev', mode: 0o700 },
  { kind: 'character-device', path: 'dev/console', major: 5, minor: 1 },
  { kind: 'block-device', path: 'dev/loop7', major: 7, minor: 7, mode: 0o640 },
  { kind: 'symlink', path: 'bin/level', target: 'gauge' },
  { kind: 'file', path: 'empty', bytes: new Uint8Array(0) },
];

describe('writeCpio', () => {
  let folder: string;
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'quern-cpio-'));
  });
  afterEach(() => rmSync(folder, { recursive: true }));

  it('is listed by the referee with types, modes, device numbers and sizes, sorted, owned by root', () => {
    const lines = runCpio(['-itv'], writeCpio(station)).trimEnd().split('\n');
    // Both programs write MODE … OWNER … NAME; columns between differ.
    const rows = lines.map((line) => line.replace(/\s+/g, ' '));
    expect(
      rows.map((row) =>
        row
          .replace(/ -> .*/, '')
          .split(' ')
          .at(-1),
      ),
    ).toEqual(['bin', 'bin/gauge', 'bin/level', 'dev', 'dev/console', 'dev/loop7', 'empty']);
    expect(rows.map((row) => row.slice(0, 10))).toEqual([
      'drwxr-xr-x',
      '-rwxr-xr-x',
      'lrwxrwxrwx',
      'drwx------',
      'crw-------',
      'brw-r-----',
      '-rw-r--r--',
    ]);
    expect(rows[1]).toMatch(/ 16 /);
    expect(rows[2]).toMatch(/ -> gauge$/);
    // busybox does not list the numbers of devices.
    if (cpio[0] === 'cpio') expect(rows[4]).toMatch(/ 5, ?1 /);
  });

  it('puts the numbers of a device into its fields', () => {
    const archive = new TextDecoder('latin1').decode(
      writeCpio([{ kind: 'character-device', path: 'console', major: 5, minor: 1 }]),
    );
    // buffer-format.rst: c_rmaj and c_rminor are the tenth and the eleventh field of eight digits behind the magic.
    expect(archive.slice(6 + 9 * 8, 6 + 11 * 8)).toBe('0000000500000001');
  });

  it('is unpacked by the referee to the same contents', () => {
    const plain = station.filter(({ kind }) => kind !== 'character-device' && kind !== 'block-device');
    runCpio(['-id'], writeCpio(plain), folder);
    expect(readFileSync(join(folder, 'bin/gauge'), 'utf8')).toBe('reads the river\n');
    expect(statSync(join(folder, 'bin/gauge')).mode & 0o777).toBe(0o755);
    expect(readlinkSync(join(folder, 'bin/level'))).toBe('gauge');
    expect(statSync(join(folder, 'empty')).size).toBe(0);
  });

  it('pads names and contents of every length so that the referee finds the next entry', () => {
    const entries: CpioEntry[] = Array.from({ length: 24 }, (_, length) => ({
      kind: 'file',
      path: `${'n'.repeat(length + 1)}`,
      bytes: new Uint8Array(length % 9).fill(length),
    }));
    runCpio(['-i'], writeCpio(entries), folder);
    for (const entry of entries) {
      if (entry.kind !== 'file') continue;
      expect(new Uint8Array(readFileSync(join(folder, entry.path)))).toEqual(entry.bytes);
    }
  });

  it('holds no time, and inode numbers that only depend on the names', () => {
    const archive = new TextDecoder('latin1').decode(writeCpio([{ kind: 'directory', path: 'a' }]));
    // Field by field after buffer-format.rst: magic ino mode uid gid nlink mtime filesize maj min rmaj rmin namesize chksum
    const words = ['070701', '00000001', '000041ED', '00000000', '00000000', '00000002', '00000000'];
    const rest = ['00000000', '00000000', '00000000', '00000000', '00000000', '00000002', '00000000'];
    expect(archive.slice(0, 110)).toBe([...words, ...rest].join(''));
    expect(archive.slice(110, 112)).toBe('a\0');
    expect(archive.length % 512).toBe(0);
  });

  it('gives the same bytes in whatever order the entries come', () => {
    const archive = writeCpio(station);
    fc.assert(
      fc.property(fc.shuffledSubarray([...station], { minLength: station.length }), (shuffled) => {
        expect(writeCpio(shuffled)).toEqual(archive);
      }),
      { numRuns: 30 },
    );
  });

  it.each([
    ['an absolute name', { kind: 'directory', path: '/etc' }],
    ['a name that climbs', { kind: 'directory', path: 'a/../../etc' }],
    ['an empty name', { kind: 'directory', path: '' }],
    ['a name with NUL', { kind: 'directory', path: 'a\0b' }],
    ['the name of the trailer', { kind: 'directory', path: 'TRAILER!!!' }],
    ['a name longer than the kernel takes', { kind: 'directory', path: 'a'.repeat(4096) }],
    ['a mode with type bits', { kind: 'file', path: 'a', mode: 0o100644, bytes: text('') }],
    ['a device number of 33 bits', { kind: 'block-device', path: 'a', major: 2 ** 32, minor: 0 }],
    ['a symlink to nothing', { kind: 'symlink', path: 'a', target: '' }],
  ] as const)('refuses %s', (_, entry) => {
    expect(() => writeCpio([entry])).toThrow(RangeError);
  });

  it('refuses a name that comes twice', () => {
    expect(() =>
      writeCpio([
        { kind: 'directory', path: 'a' },
        { kind: 'symlink', path: 'a', target: 'b' },
      ]),
    ).toThrow(/two entries/);
  });
});
