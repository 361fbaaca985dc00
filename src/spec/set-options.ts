import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { quoteString } from '../kconfig/quote.ts';
import { specCodes } from './codes.ts';
import { optionName, optionText } from './grammar.ts';
import type { SetOption } from './spec.ts';
import { scalarValue, type YamlEntry, type YamlNode, type YamlScalar } from './yaml-tree.ts';

/** Either the value as it stands behind `CONFIG_X=`, or why there is none. */
type Reading =
  { readonly value: string; readonly warning?: string } | { readonly wrong: string; readonly help: string };

/** The kernel's own rules for numbers (sym_string_valid in scripts/kconfig/symbol.c): no `+`, no leading zeros. */
const decimal = /^-?(?:0|[1-9][0-9]*)$/;
const hexadecimal = /^0[xX][0-9a-fA-F]+$/;

/** Options are at most 64 bits wide. */
function fits(text: string): boolean {
  if (text.length > 40) return false;
  const magnitude = BigInt(text.replace('-', ''));
  return text.startsWith('-') ? magnitude <= 2n ** 63n : magnitude < 2n ** 64n;
}

function inQuotes(text: string): string {
  return `"${text.replace(/["\\]/g, String.raw`\$&`)}"`;
}

function readNumber(text: string, value: number): Reading {
  const quoteIt = `or, if a string is meant, ${quoted(inQuotes(text))}`;
  if (decimal.test(text) || hexadecimal.test(text)) {
    if (fits(text)) return { value: text };
    return { wrong: 'it has more than 64 bits', help: `write a smaller number ${quoteIt}` };
  }
  if (!Number.isInteger(value) || /[.eE]/.test(text)) {
    return { wrong: 'no option is a fraction', help: `write a whole number ${quoteIt}` };
  }
  return {
    wrong: 'numbers are written in decimal, without `+` and leading zeros, or as `0x…`',
    help: `write ${Number.isSafeInteger(value) ? `\`${value}\`` : 'it so'} ${quoteIt}`,
  };
}

function readText(text: string): Reading {
  if (optionText.pattern.test(text)) return { value: quoteString(text) };
  return { wrong: optionText.rule, help: 'write the string on one line' };
}

/** Words that mean `y` or `n` elsewhere, in older YAML for instance, and are mere text here. */
const looksLikeTristate = /^(?:yes|on|no|off|[YMN]|mod|module|built-?in|enabled?|disabled?)$/i;

function readScalar(node: YamlScalar): Reading {
  const { text, plain } = node;
  if (!plain) return readText(text);
  if (/^[ymn]$/.test(text)) return { value: text };
  const value = scalarValue(node);
  if (value === null)
    return { wrong: 'there is no value', help: 'write `n` to switch it off, `""` for an empty string' };
  if (typeof value === 'boolean') {
    return { wrong: 'options are not true or false', help: `write \`${value ? 'y' : 'n'}\`` };
  }
  if (typeof value === 'number' || hexadecimal.test(text)) return readNumber(text, Number(value));
  const reading = readText(text);
  if ('wrong' in reading || !looksLikeTristate.test(text)) return reading;
  const meant = /^(?:no?|off|disabled?)$/i.test(text) ? 'n' : /^m/i.test(text) ? 'm' : 'y';
  return {
    ...reading,
    warning: `write \`${meant}\` if that is meant, or ${quoted(inQuotes(text))} to keep the string`,
  };
}

function checkName({ key }: YamlEntry, file: string): Diagnostic[] {
  const name = key.text;
  if (optionName.pattern.test(name)) return [];
  const bare = name.trim().replace(/^(?:CONFIG_)+/, '');
  const better = [bare, bare.replace(/-/g, '_')].find((one) => optionName.pattern.test(one));
  return [
    specCodes.report('spec/option-name', {
      message: `${quoted(name)} cannot be an option`,
      span: { file, start: key.start, end: key.end },
      notes: [optionName.rule],
      help: better === undefined ? `for example \`${optionName.example}\`` : `write \`${better}\``,
    }),
  ];
}

function written(node: YamlNode): string {
  if (node.kind === 'scalar') return node.raw === '' ? 'empty' : quoted(node.raw);
  return node.kind === 'mapping' ? 'a mapping' : 'a list';
}

/**
 * Reads `config.set` from the text as it was written, where `0x10` is not yet 16 and `y` not yet a word.
 *
 * @param set the node of `config.set`; anything but a mapping is left to the schema to complain about
 */
export function readSetOptions(
  set: YamlNode | undefined,
  file: string,
): { readonly value: readonly SetOption[]; readonly diagnostics: readonly Diagnostic[] } {
  const value: SetOption[] = [];
  const diagnostics: Diagnostic[] = [];
  for (const [option, entry] of set?.kind === 'mapping' ? set.entries : []) {
    const node = entry.value;
    diagnostics.push(...checkName(entry, file));
    const place = `config.set.${option}`;
    const reading: Reading =
      node.kind === 'scalar'
        ? readScalar(node)
        : { wrong: 'an option has one value', help: 'write `y`, `m`, `n`, a number or a string' };
    const raw = node.kind === 'scalar' ? node.raw : '';
    const at = node.kind === 'scalar' && raw !== '' ? node : entry.key;
    const span = { file, start: at.start, end: at.end };
    if ('wrong' in reading) {
      const message = `${quoted(place)} cannot be ${written(node)}: ${reading.wrong}`;
      diagnostics.push(specCodes.report('spec/option-value', { message, span, help: reading.help }));
      continue;
    }
    if (reading.warning !== undefined) {
      const message = `${quoted(place)} is set to the string ${quoted(reading.value)}`;
      const notes = ['only a plain y, m or n is a state'];
      diagnostics.push(
        specCodes.report('spec/option-spelling', { message, span, notes, help: reading.warning }),
      );
    }
    value.push({ option, value: reading.value });
  }
  return { value, diagnostics };
}
