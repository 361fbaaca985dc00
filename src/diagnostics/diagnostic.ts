/**
 * A diagnostic is data: what is wrong, where, why, and what to do next. Rooms produce diagnostics, the edges
 * (`cli.ts`, the Action) print them; nothing in between turns them into text.
 */

/** An error decides the exit code; warnings and notes do not. */
export type Severity = 'error' | 'warning' | 'note';

/** What the process answers with. The numbers are a contract with scripts that call Quern. */
export const exitCodes = {
  /** All well. */
  ok: 0,
  /** The answer is no: a request not kept, a build that does not compile, a panic, a digest that differs. */
  no: 1,
  /** The spec or the command line is wrong. */
  usage: 2,
  /** Something needed is missing or failed: engine, emulator, disk, network. */
  missing: 3,
  /** An input is not what it should be: digest, signature, truncated, a patch that does not apply. */
  input: 4,
  /** A bug of ours. */
  bug: 70,
  interrupted: 130,
} as const;

export type ExitCode = (typeof exitCodes)[keyof typeof exitCodes];

/** A place in a text, in UTF-16 code units from its start, `end` exclusive. Line and column are worked out when printing. */
export interface Span {
  readonly file: string;
  readonly start: number;
  readonly end: number;
}

export interface Diagnostic {
  /** `room/what-is-wrong`, listed in the catalogue of its room. */
  readonly code: string;
  readonly severity: Severity;
  /** The exit code that an error of this kind leads to. */
  readonly exit: ExitCode;
  /** One sentence: what is wrong, naming the offending thing. */
  readonly message: string;
  readonly span?: Span;
  /** Why, and whatever else helps to understand; one sentence each. */
  readonly notes: readonly string[];
  /** What to do next. */
  readonly help?: string;
}

/** The exit code of a whole run: 0 without errors, else that of the first error. */
export function exitOf(diagnostics: readonly Diagnostic[]): ExitCode {
  return diagnostics.find((one) => one.severity === 'error')?.exit ?? exitCodes.ok;
}
