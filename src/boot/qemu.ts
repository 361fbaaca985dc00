import { constants } from 'node:fs';
import { access, readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import type { Emulator } from '../environment/architectures.ts';
import type { Host } from '../host/host.ts';
import { run } from '../host/processes.ts';
import { kernelArguments } from './boot-script.ts';
import type { EmulatorEnd } from './read-console.ts';

function howToGet({ package: name }: Emulator): string {
  return `Install QEMU (Debian, Ubuntu: apt install ${name}).`;
}

/** What is asked for; where KVM was and fails to start, QEMU falls back on emulation in software. */
export type Accelerator = 'tcg' | 'kvm';

export interface BootFiles {
  /** Absolute paths. */
  readonly kernel: string;
  readonly initramfs: string;
  /** Name of the console's file, within the folder the emulator runs in. */
  readonly console: string;
}

/**
 * The arguments of QEMU for one boot: no devices but the serial port, no network, no configuration of the user's, no
 * window; it ends when the machine restarts.
 *
 * `memory` is in MiB.
 */
export function qemuArguments(
  machine: Emulator,
  accelerator: Accelerator,
  memory: number,
  files: BootFiles,
): readonly string[] {
  // Of several accelerators the next is taken when one fails to start, as KVM may inside a virtual machine.
  const accelerators = accelerator === 'kvm' ? ['kvm', 'tcg'] : ['tcg'];
  return [
    ...['-machine', machine.machine, '-cpu', machine.cpu[accelerator], '-m', `${memory}M`],
    ...accelerators.flatMap((one) => ['-accel', one]),
    ...'-nodefaults -no-user-config -display none -monitor none -no-reboot'.split(' '),
    ...['-serial', `file:${files.console}`],
    ...['-kernel', files.kernel, '-initrd', files.initramfs],
    ...['-append', `console=${machine.console} ${kernelArguments}`],
  ];
}

/** KVM where this process may use it for this machine, else emulation in software. */
export async function chooseAccelerator(machine: Emulator, device = '/dev/kvm'): Promise<Accelerator> {
  if (!machine.kvmOn.includes(process.arch)) return 'tcg';
  try {
    await access(device, constants.R_OK | constants.W_OK);
    return 'kvm';
  } catch {
    return 'tcg';
  }
}

/**
 * The version line of QEMU, which also tells whether it is there at all.
 *
 * @throws Failure `host/program-missing` with how to get it
 */
export async function qemuVersion(host: Host, machine: Emulator): Promise<string> {
  const { env, signal } = host;
  const result = await run(machine.program, ['--version'], { env, signal, missingHelp: howToGet(machine) });
  return result.stdout.split('\n')[0]?.trim() ?? '';
}

export interface EmulatorRun {
  /** MiB. */
  readonly memory: number;
  readonly files: BootFiles;
  /** An empty folder: the console's file comes to lie in it. */
  readonly folder: string;
  readonly seconds: number;
}

export interface EmulatorResult {
  /** What ran in the end. */
  readonly accelerator: Accelerator;
  readonly end: EmulatorEnd;
  /** What the console had, a byte as a character. */
  readonly output: string;
}

/** A console that is longer than this, in bytes, is no boot but a loop that prints. */
const longestConsole = 16 * 1024 * 1024;
const watchInterval = 250;

/**
 * Runs the emulator to its end, or stops it when the time is over or the console floods, and returns what it wrote.
 * An aborted `host.signal` stops it too, and its reason is thrown.
 */
export async function runEmulator(
  host: Host,
  machine: Emulator,
  accelerator: Accelerator,
  run: EmulatorRun,
): Promise<EmulatorResult> {
  const { end, output } = await runOnce(host, machine, accelerator, run);
  const isRefused = end.kind === 'exited' && end.code !== 0 && output === '';
  if (accelerator === 'tcg' || !isRefused) return { accelerator, end, output };
  // Inside another virtual machine KVM may start and then not do what QEMU asks of it, which ends QEMU.
  return runEmulator(host, machine, 'tcg', run);
}

async function runOnce(
  host: Host,
  machine: Emulator,
  accelerator: Accelerator,
  { memory, files, folder, seconds }: EmulatorRun,
): Promise<Omit<EmulatorResult, 'accelerator'>> {
  const args = qemuArguments(machine, accelerator, memory, files);
  const stop = new AbortController();
  const file = join(folder, files.console);
  const clock = setTimeout(() => stop.abort('timed-out'), seconds * 1000);
  const watch = setInterval(() => {
    sizeOf(file).then((size) => {
      if (size > longestConsole) stop.abort('flooded');
    }, stop.abort.bind(stop));
  }, watchInterval);
  try {
    const end = await run(machine.program, args, {
      cwd: folder,
      env: host.env,
      signal: AbortSignal.any([host.signal, stop.signal]),
      ownGroup: true,
      grace: 1000,
      missingHelp: howToGet(machine),
    }).then(
      ({ code, stderr }): EmulatorEnd => ({ kind: 'exited', code, said: stderr }),
      (error: unknown): EmulatorEnd => {
        if (error === 'timed-out' || error === 'flooded') return { kind: error };
        throw error;
      },
    );
    // Byte for byte: a console may hold anything.
    return { end, output: (await readIfThere(file)).toString('latin1') };
  } finally {
    clearTimeout(clock);
    clearInterval(watch);
  }
}

async function sizeOf(file: string): Promise<number> {
  try {
    return (await stat(file)).size;
  } catch {
    return 0;
  }
}

async function readIfThere(file: string): Promise<Buffer> {
  try {
    return await readFile(file);
  } catch {
    // An emulator that refuses its arguments has not opened it yet.
    return Buffer.alloc(0);
  }
}
