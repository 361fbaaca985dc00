import type { Emulator } from '../environment/architectures.ts';

/**
 * Options that the boot proof cannot do without on any machine, and why; a kernel that lacks one may still boot on real
 * hardware.
 */
const needed: ReadonlyMap<string, string> = new Map([
  ['PRINTK', 'the kernel says nothing without it, not even that it panics'],
  ['TTY', 'there is no console without it'],
  ['BLK_DEV_INITRD', 'the kernel unpacks the initial file system that the proof brings'],
  ['BINFMT_ELF', 'the kernel can start a program'],
]);

export interface MissingOption {
  readonly option: string;
  readonly why: string;
}

/**
 * Which of the options that the boot proof needs, of itself and for its machine's console, `config`, the text of a
 * `.config`, does not set to `y`.
 * `CMDLINE_OVERRIDE` counts as missing the command line: the kernel then ignores the one it is started with.
 */
export function missingOptions(config: string, machine: Pick<Emulator, 'options'>): readonly MissingOption[] {
  const built = new Set(Array.from(config.matchAll(/^CONFIG_(\w+)=y$/gm), ([, option]) => option));
  const missing = [...needed, ...Object.entries(machine.options)]
    .filter(([option]) => !built.has(option))
    .map(([option, why]) => ({ option, why }));
  if (built.has('CMDLINE_OVERRIDE')) {
    missing.push({
      option: 'CMDLINE_OVERRIDE=n',
      why: 'the kernel ignores the command line that it is started with',
    });
  }
  return missing;
}
