/** Whether a configuration that somebody brings is one for the tree at hand. */
import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { kconfigCodes } from './codes.ts';
import { optionOfConfigLine, readConfigLine } from './dot-config.ts';
import type { MakeEnvironment } from './make-environment.ts';

/**
 * SRCARCH to the option by which an architecture calls itself in its `Kconfig`: `config X86 def_bool y` and the like, in
 * the trees 5.10 to 7.3.
 */
export const architectureOptions: ReadonlyMap<string, string> = new Map([
  ['alpha', 'ALPHA'],
  ['arc', 'ARC'],
  ['arm', 'ARM'],
  ['arm64', 'ARM64'],
  ['c6x', 'C6X'],
  ['csky', 'CSKY'],
  ['h8300', 'H8300'],
  ['hexagon', 'HEXAGON'],
  ['ia64', 'IA64'],
  ['loongarch', 'LOONGARCH'],
  ['m68k', 'M68K'],
  ['microblaze', 'MICROBLAZE'],
  ['mips', 'MIPS'],
  ['nds32', 'NDS32'],
  ['nios2', 'NIOS2'],
  ['openrisc', 'OPENRISC'],
  ['parisc', 'PARISC'],
  ['powerpc', 'PPC'],
  ['riscv', 'RISCV'],
  ['s390', 'S390'],
  ['sh', 'SUPERH'],
  ['sparc', 'SPARC'],
  ['um', 'UML'],
  ['x86', 'X86'],
  ['xtensa', 'XTENSA'],
]);

/**
 * What speaks against using a `.config` as a base: it is none, it is of another architecture, or of a newer kernel. One
 * that does not say what it is, as minimal ones do not, is taken.
 *
 * @param text in latin1
 * @param file its name
 * @param make what the tree is configured for
 * @param span where it is named
 */
export function configFit(
  text: string,
  file: string,
  { sourceArch, kernelVersion, variables }: MakeEnvironment,
  span?: Span,
): readonly Diagnostic[] {
  if (!isConfig(text)) {
    return [
      kconfigCodes.report('kconfig/no-config', {
        message: `${quoted(file)} is no configuration of a kernel: no line of it gives an option a value`,
        span,
        help: 'Name a .config: the one of the running kernel is in /boot/config-$(uname -r) or /proc/config.gz.',
      }),
    ];
  }
  const other = (is: string, wanted: string): readonly Diagnostic[] => [
    kconfigCodes.report('kconfig/other-architecture', {
      message: `${quoted(file)} is a configuration for ${is}, and the kernel is to be for ${wanted}`,
      span,
      notes: ['Most of its options do not exist there; what is left would hardly boot.'],
      help: `Name a configuration for ${wanted}, or begin with defconfig.`,
    }),
  ];
  const has = optionsOn(text);
  const arch = configArchitecture(text);
  if (arch !== undefined && arch !== sourceArch) return other(arch, sourceArch);
  if (variables['ARCH'] === 'x86_64' && has('X86_32')) return other('i386', 'x86_64');
  if (variables['ARCH'] === 'i386' && has('X86_64')) return other('x86_64', 'i386');
  const version = versionInHeading(text);
  if (version === undefined || !isNewer(version, kernelVersion)) return [];
  return [
    kconfigCodes.report('kconfig/newer-config', {
      message: `${quoted(file)} was made for Linux ${version}, which is newer than ${kernelVersion}`,
      span,
      notes: ['What was renamed or came later is not in this tree, and is dropped.'],
      help: 'Compare what came of it with `quern why`, or take a configuration of this version or an older one.',
    }),
  ];
}

/** Whether a text is a `.config`. Nothing but comments is one as well: everything is at its default then. */
export function isConfig(text: string): boolean {
  const lines = text.split('\n');
  return (
    lines.some((line) => optionOfConfigLine(line) !== undefined) ||
    lines.every((line) => readConfigLine(line).kind !== 'stray')
  );
}

/** Tells which options of a configuration are y. */
function optionsOn(text: string): (option: string) => boolean {
  const lines = new Set(text.split('\n').map((line) => line.trimEnd()));
  return (option) => lines.has(`CONFIG_${option}=y`);
}

/** SRCARCH of the architecture that a configuration is for; `undefined` when it does not say, as minimal ones do not. */
export function configArchitecture(text: string): string | undefined {
  const has = optionsOn(text);
  return [...architectureOptions].find(([, option]) => has(option))?.[0];
}

/** The version of the kernel that a configuration was made for, from the comment at the head (the `mainmenu` of the tree's Kconfig): `# Linux/x86 6.1.192 Kernel Configuration`. */
export function versionInHeading(text: string): string | undefined {
  return /^# Linux\/\S+ (\d+\.\d+\S*) Kernel Configuration\s*$/m.exec(text.slice(0, 4096))?.[1];
}

/** By the series alone: a later fix release of a series has the same options but for a few. */
function isNewer(one: string, other: string): boolean {
  const [major = 0, minor = 0] = one.split('.').map(Number.parseFloat);
  const [otherMajor = 0, otherMinor = 0] = other.split('.').map(Number.parseFloat);
  return major > otherMajor || (major === otherMajor && minor > otherMinor);
}
