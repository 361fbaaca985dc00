/** How `quern config` and `quern why` are asked. */
import type { AskedOption, ConfigOptions, ProbeOptions, WhyOptions } from '../commands/options.ts';
import type { Arguments } from './arguments.ts';
import type { Flags } from './flags.ts';

export const probeFlags: Flags = {
  probes: { value: 'FILE' },
  'probe-host': {},
  'save-probes': { value: 'FILE' },
};

export function specAndLock(given: Arguments): { spec: string; lock?: string } {
  const file = given.text('lock');
  return { spec: given.operand(0), ...(file !== undefined && { lock: file }) };
}

export function probesOf(given: Arguments): ProbeOptions {
  const probes = given.text('probes');
  const saveProbes = given.text('save-probes');
  const probeHost = given.on('probe-host');
  given.exclude('probes', 'probe-host', 'the answers come from one place');
  if (saveProbes !== undefined && !probeHost) {
    given.refuse(
      '`--save-probes` without `--probe-host`',
      saveProbes,
      'Write --probe-host as well: its answers are kept.',
    );
  }
  return {
    probeHost,
    ...(probes !== undefined && { probes }),
    ...(saveProbes !== undefined && { saveProbes }),
  };
}

/** `CRC7` or `CRC7=m`, with the prefix that a `.config` has or without it. */
export function askedOption(given: Arguments, word: string): WhyOptions['asked'] {
  const at = word.indexOf('=');
  const name = (at < 0 ? word : word.slice(0, at)).replace(/^CONFIG_/u, '');
  // one that is missing is complained of already
  if (word !== '' && (!/^\w+$/u.test(name) || at === word.length - 1)) {
    given.refuse('OPTION', word, 'Name an option, such as CRC7, or an option with a value: CRC7=m.');
  }
  return { option: name, ...(at >= 0 && { value: latin1(word.slice(at + 1)) }) };
}

export function readConfigOptions(given: Arguments): ConfigOptions {
  const spec = given.optionalOperand(0);
  const output = given.text('output');
  const common = { ...probesOf(given), ...(output !== undefined && { output }) };
  if (spec !== undefined) {
    for (const flag of ['tree', 'arch', 'base', 'set']) {
      if (given.on(flag))
        given.refuse('a spec', `--${flag}`, 'Name a spec, or a tree with its options, not both.');
    }
    return { ...specAndLock(given), ...common };
  }
  if (given.on('lock')) given.refuse('a tree', '--lock', 'It has none: leave it out, or name a spec.');
  const base = given.text('base');
  return {
    tree: given.needed('tree'),
    arch: given.needed('arch'),
    ...(base !== undefined && { base }),
    set: given.texts('set').flatMap((word) => setOption(given, word)),
    ...common,
  };
}

function setOption(given: Arguments, word: string): readonly AskedOption[] {
  const { option, value } = askedOption(given, word);
  if (/^[A-Za-z0-9_]+$/u.test(option) && value !== undefined && /^[^\0\r\n]*$/u.test(value)) {
    return [{ option, value }];
  }
  given.refuse('`--set`', word, 'Write NAME=VALUE as in a .config, such as CRC7=m.');
  return [];
}

/** A `.config` holds bytes. */
function latin1(text: string): string {
  return String.fromCharCode(...new TextEncoder().encode(text));
}
