/**
 * Reading a `.config` as the kernel's own reader does (conf_read_simple in scripts/kconfig/confdata.c).
 *
 * Texts in this room are latin1: one character per byte. A `.config` holds bytes of no stated encoding, and whatever
 * they are, they must come out as they went in.
 */

/** What one line says; `value` is everything behind `=`, quotes and all, and `n` for an option that is not set. */
export type ConfigLine =
  | { readonly kind: 'value'; readonly option: string; readonly value: string }
  | { readonly kind: 'comment' }
  | { readonly kind: 'stray' };

export interface ConfigEntry {
  /** Without the `CONFIG_` prefix. */
  readonly option: string;
  readonly value: string;
  /** From 1. */
  readonly line: number;
}

export interface DotConfig {
  /** In the order of the text, also those that a later line overrides. */
  readonly entries: readonly ConfigEntry[];
  /** The entry that counts: the last one of the option. */
  entry(option: string): ConfigEntry | undefined;
  /** The value that counts, as it stands in the text; `n` for "is not set", `undefined` for an option that is not there. */
  get(option: string): string | undefined;
}

/** @param line without its line feed; a carriage return at its end is ignored */
export function readConfigLine(line: string): ConfigLine {
  const text = line.replace(/\r$/, '');
  const value = /^CONFIG_([A-Za-z0-9_]+)=(.*)$/s.exec(text);
  if (value) return { kind: 'value', option: value[1] ?? '', value: value[2] ?? '' };
  const unset = /^# CONFIG_([A-Za-z0-9_]+) is not set$/.exec(text)?.[1];
  if (unset !== undefined) return { kind: 'value', option: unset, value: 'n' };
  return /^(?:#|\s*$)/.test(text) ? { kind: 'comment' } : { kind: 'stray' };
}

const optionOfLine = /^(?:CONFIG_([A-Za-z0-9_]+)=|# CONFIG_([A-Za-z0-9_]+) is not set)/;

/** The option that a line speaks of, even if the line as a whole is not well formed; `undefined` when it is of none. */
export function optionOfConfigLine(line: string): string | undefined {
  const found = optionOfLine.exec(line);
  return found?.[1] ?? found?.[2];
}

/** The line that gives an option a value. */
export function formatConfigLine(option: string, value: string): string {
  return value === 'n' ? `# CONFIG_${option} is not set` : `CONFIG_${option}=${value}`;
}

/** Reads a whole `.config`, in latin1. Lines that say nothing are passed over, as the kernel does with a warning. */
export function readDotConfig(text: string): DotConfig {
  const entries: ConfigEntry[] = [];
  const last = new Map<string, ConfigEntry>();
  for (const [index, line] of text.split('\n').entries()) {
    const read = readConfigLine(line);
    if (read.kind !== 'value') continue;
    const entry = { option: read.option, value: read.value, line: index + 1 };
    entries.push(entry);
    last.set(read.option, entry);
  }
  return { entries, entry: (option) => last.get(option), get: (option) => last.get(option)?.value };
}
