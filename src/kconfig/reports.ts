import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { kconfigCodes, type KconfigCode } from './codes.ts';
import type { Place } from './model.ts';

/** A file that a damaged or hostile text makes thousands of complaints about is described well enough by the first. */
const mostErrors = 50;
const mostWarnings = 1000;

export interface ReportDetails {
  readonly notes?: readonly string[];
  readonly help?: string | undefined;
}

/** Gathers what is wrong while a tree is read. Nothing is worked out for a diagnostic until there is one. */
export interface Reports {
  readonly diagnostics: readonly Diagnostic[];
  /** The text of each file that a diagnostic names. */
  readonly sources: ReadonlyMap<string, string>;
  /** There is an error, so that the tree has no meaning. */
  failed(): boolean;
  /** There are so many errors that going on helps nobody. */
  full(): boolean;
  /** Whether one more of this code is still taken; if not, its message need not be made. */
  wants(code: KconfigCode): boolean;
  at(code: KconfigCode, message: string, span: Span, text: string, details?: ReportDetails): void;
  /** The same for a place whose file is not at hand any more; the whole line is meant. */
  atPlace(code: KconfigCode, message: string, place: Place, details?: ReportDetails): void;
  /** For what has no place. */
  plain(code: KconfigCode, message: string, details?: ReportDetails): void;
}

/** The offset at which each line starts. */
function lineStartsOf(text: string): readonly number[] {
  const starts = [0];
  for (let next = text.indexOf('\n'); next >= 0; next = text.indexOf('\n', next + 1)) starts.push(next + 1);
  return starts;
}

function lineSpan(text: string, starts: readonly number[], { file, line }: Place): Span {
  let start = starts[Math.min(line, starts.length) - 1] ?? 0;
  const next = starts[line];
  const end = next === undefined ? text.length : next - 1;
  while (start < end && (text[start] === '\t' || text[start] === ' ')) start += 1;
  return { file, start, end };
}

/** @param readAgain gives the text of a file that was read before */
export function createReports(readAgain: (file: string) => string | undefined): Reports {
  const diagnostics: Diagnostic[] = [];
  const sources = new Map<string, string>();
  const lineStarts = new Map<string, readonly number[]>();
  let errors = 0;
  let warnings = 0;

  function wants(code: KconfigCode): boolean {
    return kconfigCodes.entries[code].severity === 'error' ? errors < mostErrors : warnings < mostWarnings;
  }

  function add(code: KconfigCode, message: string, span: Span | undefined, details: ReportDetails): void {
    if (!wants(code)) return;
    if (kconfigCodes.entries[code].severity === 'error') errors += 1;
    else warnings += 1;
    diagnostics.push(kconfigCodes.report(code, { message, span, ...details }));
  }

  return {
    diagnostics,
    sources,
    failed: () => errors > 0,
    full: () => errors >= mostErrors,
    wants,
    at(code, message, span, text, details = {}) {
      sources.set(span.file, text);
      add(code, message, span, details);
    },
    atPlace(code, message, place, details = {}) {
      if (!wants(code)) return;
      const { file } = place;
      const text = sources.get(file) ?? readAgain(file);
      let span: Span = { file, start: 0, end: 0 };
      if (text !== undefined) {
        sources.set(file, text);
        const starts = lineStarts.get(file) ?? lineStartsOf(text);
        lineStarts.set(file, starts);
        span = lineSpan(text, starts, place);
      }
      add(code, message, span, details);
    },
    plain: (code, message, details = {}) => add(code, message, undefined, details),
  };
}
