import { execFileSync, spawnSync } from 'node:child_process';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { bootScript } from '../../src/boot/boot-script.ts';
import { buildInitramfs, moduleFile } from '../../src/boot/initramfs.ts';

const busybox = new TextEncoder().encode('busybox');
const module = (name: string): { name: string; bytes: Uint8Array } => ({
  name,
  bytes: new TextEncoder().encode(name),
});

describe('buildInitramfs', () => {
  it('holds the program, the script, the console and the modules, in order', () => {
    const archive = buildInitramfs({ busybox, modules: [module('serial_core'), module('crc7')] });
    // Referee: cpio, GNU's or that of busybox.
    const [program = '', ...args] =
      spawnSync('cpio', ['--version']).status === 0 ? ['cpio'] : ['busybox', 'cpio'];
    const names = execFileSync(program, [...args, '-it'], { input: archive, stdio: 'pipe' })
      .toString()
      .trim()
      .split('\n');
    expect(names).toEqual([
      ...['bin', 'bin/busybox', 'check', 'dev', 'dev/console', 'modules'],
      ...['modules/000000-serial_core.ko', 'modules/000001-crc7.ko', 'proc', 'sys'],
    ]);
  });

  it('gives the same bytes each time', () => {
    const content = { busybox, modules: [module('crc7')] };
    expect(buildInitramfs(content)).toEqual(buildInitramfs(content));
  });
});

describe('moduleFile', () => {
  it('lets nothing of a name through that a shell or a path could take for something else', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'binary', maxLength: 200 }), fc.nat(999_999), (name, index) => {
        expect(moduleFile(name, index)).toMatch(/^\d{6}-\w{0,64}\.ko$/);
      }),
    );
  });

  it('sorts as it counts', () => {
    const files = [0, 1, 9, 10, 99, 100, 1000].map((index) => moduleFile('z', index));
    expect(files.toSorted()).toEqual(files);
  });
});

describe('the script', () => {
  // Referee: the shell that runs it.
  it('is read by the shell of busybox without a complaint', () => {
    expect(spawnSync('busybox', ['sh', '-n'], { input: bootScript }).stderr.toString()).toBe('');
  });

  it('passes shellcheck', () => {
    const { stdout } = spawnSync('shellcheck', ['--shell=dash', '--exclude=SC2086,SC2116', '-'], {
      input: bootScript,
    });
    expect(stdout.toString()).toBe('');
  });
});
