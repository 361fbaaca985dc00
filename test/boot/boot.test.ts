import { execFileSync } from 'node:child_process';
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, describe, expect, it } from 'vitest';
import { bootRecord, type BootOptions } from '../../src/boot/boot.ts';
import { chooseAccelerator, qemuArguments, runEmulator } from '../../src/boot/qemu.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Host } from '../../src/host/host.ts';
import { bzImage } from '../image/bz-image.ts';
import { elfProgram, forever } from '../image/kernel-module.ts';
import { benchHost, makeRecord, type RecordShape, type TestRecord, emulatorOf } from './world.ts';

/** A processor that waits forever, with interrupts off: cli; hlt; jmp back. */
const waits = [0xfa, 0xf4, 0xeb, 0xfc];

describe('bootRecord', () => {
  const open: TestRecord[] = [];
  const record = (shape: RecordShape): string => {
    const made = makeRecord(shape);
    open.push(made);
    return made.folder;
  };
  const scratch = (): string => {
    const folder = mkdtempSync(join(tmpdir(), 'quern-bench-'));
    open.push({ folder, dispose: () => rmSync(folder, { recursive: true }) });
    return folder;
  };
  afterEach(() => {
    for (const one of open.splice(0)) one.dispose();
  });

  const failure = async (
    options: BootOptions,
    host: Host = benchHost(),
  ): Promise<readonly { code: string; exit: number; help: string }[]> => {
    const error = await bootRecord(host, options).catch((one: unknown) => one);
    if (!(error instanceof Failure)) throw new Error('it was to fail', { cause: error });
    return error.diagnostics.map(({ code, exit, help }) => ({ code, exit, help: help ?? '' }));
  };

  it('wants a folder that a build wrote', async () => {
    expect(await failure({ folder: scratch() })).toMatchObject([{ code: 'boot/no-record', exit: 2 }]);
    expect(await failure({ folder: '/nowhere/at/all' })).toMatchObject([{ code: 'boot/no-record', exit: 2 }]);
  });

  it('wants a provenance that can be read, and one that names the image', async () => {
    const folder = record({ image: bzImage() });
    const provenance = join(folder, 'provenance.json');
    const text = readFileSync(provenance, 'utf8');
    writeFileSync(provenance, text.replaceAll('quern_kernelRelease', 'quern_other'));
    expect(await failure({ folder })).toMatchObject([{ code: 'boot/image-unknown', exit: 4 }]);
    writeFileSync(provenance, text.replace('"arch": "x86_64"', '"arch": "vax"'));
    expect(await failure({ folder })).toMatchObject([{ code: 'boot/architecture', exit: 3 }]);
    writeFileSync(provenance, '{');
    expect(await failure({ folder })).toMatchObject([{ code: 'record/malformed-provenance', exit: 4 }]);
  });

  it.each<[string, Uint8Array, string]>([
    ['an empty image, on which the emulator would spin', new Uint8Array(0), 'image/empty'],
    ['an image that is cut off', bzImage().subarray(0, -512), 'image/truncated'],
    ['something else', new TextEncoder().encode('river'.repeat(500)), 'image/not-x86-boot'],
  ])('does not start %s', async (_, image, code) => {
    expect(await failure({ folder: record({ image }) })).toMatchObject([{ code, exit: 4 }]);
  });

  it('does not start an image that is not the recorded one', async () => {
    const folder = record({ image: bzImage() });
    writeFileSync(join(folder, 'bzImage'), bzImage({ version: 'evil (x@y) #1' }));
    rmSync(join(folder, 'kernel.config'));
    expect(await failure({ folder })).toMatchObject([
      { code: 'boot/altered', exit: 4 },
      { code: 'boot/altered', exit: 4 },
    ]);
    rmSync(join(folder, 'bzImage'));
    expect(await failure({ folder })).toMatchObject([{ code: 'boot/no-record', exit: 2 }]);
  });

  it('says how to get an emulator', async () => {
    const [found] = await failure(
      { folder: record({ image: bzImage() }) },
      benchHost({ env: { PATH: scratch() } }),
    );
    expect(found).toEqual({
      code: 'host/program-missing',
      exit: 3,
      help: 'Install QEMU (Debian, Ubuntu: apt install qemu-system-x86).',
    });
  });

  it('says how to get a busybox that fits', async () => {
    const folder = record({ image: bzImage() });
    const bench = scratch();
    const cases: readonly [Uint8Array, string][] = [
      [elfProgram({ code: forever, interpreter: true }), 'dynamically linked'],
      [elfProgram({ code: forever, machine: 183 }), 'another machine'],
      [new TextEncoder().encode('#!/bin/sh\n'), 'no ELF program'],
    ];
    for (const [bytes, why] of cases) {
      writeFileSync(join(bench, 'busybox'), bytes);
      const error = await bootRecord(benchHost(), { folder, busybox: join(bench, 'busybox') }).catch(
        (one: unknown) => one,
      );
      expect(error).toMatchObject({ diagnostics: [{ code: 'boot/busybox-unfit', exit: 3 }] });
      expect(String(error)).toContain(why);
    }
    expect(await failure({ folder, busybox: join(bench, 'none') })).toMatchObject([
      { code: 'boot/no-busybox', exit: 3, help: expect.stringContaining('busybox-static') },
    ]);
  });

  it('takes the first fit busybox in PATH, passing over one that is not', async () => {
    const folder = record({ image: bzImage() });
    const bench = scratch();
    mkdirSync(join(bench, 'a'));
    writeFileSync(join(bench, 'a', 'busybox'), elfProgram({ code: forever, interpreter: true }));
    const qemu = execFileSync('sh', ['-c', 'command -v qemu-system-x86_64']).toString().trim();
    symlinkSync(qemu, join(bench, 'a', 'qemu-system-x86_64'));
    const host = benchHost({ env: { PATH: `${join(bench, 'a')}:${process.env['PATH']}` } });
    // It gets as far as the modules, of which there are none.
    expect(await failure({ folder, modules: ['gauge'] }, host)).toMatchObject([
      { code: 'boot/no-modules', exit: 2 },
    ]);
  });

  it('finds a machine silent that says nothing, and names the options that are missing', async () => {
    const folder = record({ image: bzImage({ start: waits }), config: 'CONFIG_64BIT=y\nCONFIG_PRINTK=y\n' });
    const { value, diagnostics } = await bootRecord(benchHost(), { folder, timeoutSeconds: 2 });
    expect(value).toMatchObject({
      boot: 1,
      verdict: 'silent',
      modules: [],
      emulator: expect.stringMatching(/^QEMU/),
    });
    expect(value.seconds).toBeGreaterThanOrEqual(2);
    expect(diagnostics.map(({ code, exit }) => ({ code, exit }))).toEqual([{ code: 'boot/silent', exit: 1 }]);
    expect(diagnostics[0]?.notes.join('\n')).toMatch(/SERIAL_8250_CONSOLE/);
    expect(JSON.parse(readFileSync(join(folder, 'boot.json'), 'utf8'))).toEqual(value);
    expect(readFileSync(join(folder, 'boot.log'), 'utf8')).toBe('');
  });

  it('stops the emulator when it is interrupted, and leaves nothing behind', async () => {
    const folder = record({ image: bzImage({ start: waits }) });
    const controller = new AbortController();
    const reason = new Error('Ctrl-C');
    setTimeout(() => controller.abort(reason), 1500);
    const began = Date.now();
    await expect(bootRecord(benchHost({ signal: controller.signal }), { folder })).rejects.toBe(reason);
    expect(Date.now() - began).toBeLessThan(10_000);
    expect(existsSync(join(folder, 'boot.log'))).toBe(false);
    expect(existsSync(join(folder, 'boot.json'))).toBe(false);
    const running = execFileSync('ps', ['-eo', 'args']).toString();
    expect(running.split('\n').filter((line) => line.includes(folder))).toEqual([]);
  });
});

describe('qemuArguments', () => {
  const files = { kernel: '/out/bz,Image', initramfs: '/tmp/i.cpio', console: 'boot.log' };

  it.each([
    ['tcg', 'qemu64'],
    ['kvm', 'max'],
  ] as const)('with %s names the processor %s', (accelerator, cpu) => {
    const args = qemuArguments(emulatorOf('x86_64'), accelerator, 512, files);
    expect(args[args.indexOf('-accel') + 1]).toBe(accelerator);
    expect(args[args.indexOf('-cpu') + 1]).toBe(cpu);
  });

  it('gives the kernel its console, restarts it on a panic, and starts busybox with the script', () => {
    const args = qemuArguments(emulatorOf('x86_64'), 'tcg', 512, files);
    expect(args[args.indexOf('-append') + 1]).toBe('console=ttyS0 panic=-1 rdinit=/bin/busybox -- sh /check');
    expect(args).toContain('-no-reboot');
    expect(args).toContain('-nodefaults');
    expect(args[args.indexOf('-kernel') + 1]).toBe('/out/bz,Image');
  });

  it('uses KVM only where it may', async () => {
    const here = { ...emulatorOf('x86_64'), kvmOn: [process.arch] };
    expect(await chooseAccelerator(here, '/nowhere/kvm')).toBe('tcg');
    expect(await chooseAccelerator(here, '/dev/null')).toBe('kvm');
    expect(await chooseAccelerator({ ...here, kvmOn: ['another'] }, '/dev/null')).toBe('tcg');
  });
});

describe('an emulator that KVM ends', () => {
  const folder = mkdtempSync(join(tmpdir(), 'quern-emulator-'));
  afterEach(() => rmSync(folder, { recursive: true, force: true }));

  /** What QEMU does with KVM inside of some virtual machines: it ends, with a signal or a message, before anything runs. */
  const runs = (withKvm: string): ReturnType<typeof runEmulator> => {
    mkdirSync(folder, { recursive: true });
    const program = join(folder, 'emulator');
    const script = `#!/bin/sh\ncase "$*" in *"-accel kvm"*) ${withKvm} ;; *) echo booted > boot.log ;; esac\n`;
    writeFileSync(program, script, { mode: 0o755 });
    const files = { kernel: '/kernel', initramfs: '/initramfs', console: 'boot.log' };
    const machine = { ...emulatorOf('x86_64'), program };
    return runEmulator(benchHost(), machine, 'kvm', { memory: 512, files, folder, seconds: 20 });
  };

  it.each([
    ['by a signal', 'kill -ABRT $$'],
    ['with a message', 'echo "failed to set MSR 0x10a to 0x69" >&2; exit 1'],
  ])('%s runs without it', async (_, withKvm) => {
    expect(await runs(withKvm)).toMatchObject({
      accelerator: 'tcg',
      end: { kind: 'exited', code: 0 },
      output: 'booted\n',
    });
  });

  it('does not run again when a kernel has begun to speak', async () => {
    expect(await runs('echo panic > boot.log; exit 1')).toMatchObject({
      accelerator: 'kvm',
      end: { kind: 'exited', code: 1 },
      output: 'panic\n',
    });
  });
});
