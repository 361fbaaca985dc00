import type { Diagnostic, Severity } from './diagnostic.ts';
import { indexLines, positionAt, type LineIndex } from './line-column.ts';

/** A diagnostic as `--json` prints it: places as line and column instead of offsets. */
export interface DiagnosticJson {
  readonly code: string;
  readonly severity: Severity;
  readonly message: string;
  readonly file?: string;
  /**
   * From 1; absent when the text of `file` is not at hand.
   *
   * @asType integer
   */
  readonly line?: number;
  /**
   * From 1, in UTF-16 code units.
   *
   * @asType integer
   */
  readonly column?: number;
  readonly notes: readonly string[];
  readonly help?: string;
}

/**
 * Diagnostics as plain JSON values, in the same order.
 *
 * @param sources the text of each file that a span may name
 */
export function toJson(
  diagnostics: readonly Diagnostic[],
  sources: ReadonlyMap<string, string>,
): DiagnosticJson[] {
  const indexes = new Map<string, LineIndex>();
  for (const [file, text] of sources) indexes.set(file, indexLines(text));
  return diagnostics.map(({ code, severity, message, span, notes, help }) => {
    const index = span && indexes.get(span.file);
    return {
      code,
      severity,
      message,
      ...(span && { file: span.file }),
      ...(index && positionAt(index, span.start)),
      notes: [...notes],
      ...(help !== undefined && { help }),
    };
  });
}
