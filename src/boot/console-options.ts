/** Options that the boot proof cannot do without, and why; a kernel that lacks one may still boot on real hardware. */
const needed: ReadonlyMap<string, string> = new Map([
  ['64BIT', 'the programs of the proof are 64-bit'],
  ['PRINTK', 'the kernel says nothing without it, not even that it panics'],
  ['TTY', 'there is no console without it'],
  ['SERIAL_8250', 'the serial port of the emulated machine'],
  ['SERIAL_8250_CONSOLE', 'messages go to the serial port'],
  ['BLK_DEV_INITRD', 'the kernel unpacks the initial file system that the proof brings'],
  ['BINFMT_ELF', 'the kernel can start a program'],
]);

export interface MissingOption {
  readonly option: string;
  readonly why: string;
}

/**
 * Which of the options that the boot proof needs `config`, the text of a `.config`, does not set to `y`.
 * `CMDLINE_OVERRIDE` counts as missing the command line: the kernel then ignores the one it is started with.
 */
export function missingOptions(config: string): readonly MissingOption[] {
  const built = new Set(Array.from(config.matchAll(/^CONFIG_(\w+)=y$/gm), ([, option]) => option));
  const missing = [...needed]
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
