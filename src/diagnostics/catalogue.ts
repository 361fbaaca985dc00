import type { Diagnostic, ExitCode, Severity, Span } from './diagnostic.ts';

export interface CodeEntry {
  readonly severity: Severity;
  readonly exit: ExitCode;
  /** One line for the documentation: when this code is reported. */
  readonly summary: string;
}

export interface Details {
  readonly message: string;
  readonly span?: Span | undefined;
  readonly notes?: readonly string[];
  readonly help?: string | undefined;
}

export interface Catalogue<Code extends string> {
  readonly entries: Readonly<Record<Code, CodeEntry>>;
  /** Builds the diagnostic for `code`; severity and exit code come from the catalogue. */
  report(code: Code, details: Details): Diagnostic;
}

/** A room's closed list of codes. Each room exports one; `diagnostics/all.ts` of the tests joins them. */
export function catalogue<const Code extends string>(
  entries: Readonly<Record<Code, CodeEntry>>,
): Catalogue<Code> {
  return {
    entries,
    report(code, { message, span, notes = [], help }) {
      const { severity, exit } = entries[code];
      return {
        code,
        severity,
        exit,
        message,
        ...(span && { span }),
        notes,
        ...(help !== undefined && { help }),
      };
    },
  };
}

/**
 * Thrown by effects when going on makes no sense: the engine is not there, a digest is wrong. Everything a person
 * can cause is a `Failure`; any other error that escapes is a bug of ours.
 */
export class Failure extends Error {
  readonly diagnostics: readonly Diagnostic[];
  /** The text of each file that a span of the diagnostics names. */
  readonly sources: ReadonlyMap<string, string>;

  constructor(
    diagnostics: Diagnostic | readonly Diagnostic[],
    options?: { cause?: unknown; sources?: ReadonlyMap<string, string> },
  ) {
    const list = 'code' in diagnostics ? [diagnostics] : diagnostics;
    super(list.map((one) => one.message).join('\n'), options);
    this.name = 'Failure';
    this.diagnostics = list;
    this.sources = options?.sources ?? new Map();
  }
}
