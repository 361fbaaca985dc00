import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { kconfigCodes, type KconfigCode } from './codes.ts';
import type { ConfigWarning, ConfigWarningKind } from './read-config.ts';

const codes: Readonly<Record<ConfigWarningKind, KconfigCode>> = {
  unexpected: 'kconfig/config-line',
  invalid: 'kconfig/config-value',
  'open-string': 'kconfig/config-value',
  again: 'kconfig/config-again',
  'choice-again': 'kconfig/config-again',
  'choice-mixed': 'kconfig/config-again',
  unknown: 'kconfig/config-unknown',
};

function messageOf({ kind, option, value }: ConfigWarning): string {
  switch (kind) {
    case 'unexpected':
      return `the line is neither a value nor a comment: ${quoted(value)}`;
    case 'invalid':
      return `${option} cannot be ${quoted(value)}; the line counts for nothing`;
    case 'open-string':
      return `the text for ${option} has no closing quote; the line counts for nothing`;
    case 'again':
      return `${option} has a value already; this one counts if it is a valid one`;
    case 'choice-again':
      return `another member of the choice that ${option} belongs to is y already; ${option} takes its place`;
    case 'choice-mixed':
      return `${option} is m while another member of its choice is y`;
    case 'unknown':
      return `the tree has no option ${quoted(option)}`;
  }
}

/**
 * What was found wrong in a `.config`, as diagnostics.
 *
 * @param file the name of the configuration
 * @param text what was read, in latin1
 */
export function configDiagnostics(
  warnings: readonly ConfigWarning[],
  file: string,
  text: string,
): readonly Diagnostic[] {
  let line = 1;
  let start = 0;
  return warnings.map((warning) => {
    for (; line < warning.line; line += 1) start = text.indexOf('\n', start) + 1;
    const end = text.indexOf('\n', start);
    const span = { file, start, end: Math.max(start + 1, end < 0 ? text.length : end) };
    return kconfigCodes.report(codes[warning.kind], { message: messageOf(warning), span });
  });
}
