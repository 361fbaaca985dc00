import type { CommandResult } from '../commands/command.ts';
import type { ExitCode } from '../diagnostics/diagnostic.ts';
import type { DiagnosticJson } from '../diagnostics/to-json.ts';
import { toJson } from '../diagnostics/to-json.ts';

/** How a run of `quern` ended, ready to be printed. */
export interface Outcome extends CommandResult {
  /** Absent when the command line named none that exists. */
  readonly command?: string;
  /** What to show of an error with `--debug`. */
  readonly trace?: string;
}

/** What `--json` prints of every outcome; the members of the command's own answer stand beside these. */
export interface OutcomeJson {
  /** What the process answers with; `quern --help` tells what each number means. */
  readonly exit: ExitCode;
  /** Errors, warnings and notes, in the order in which they were found. */
  readonly diagnostics: readonly DiagnosticJson[];
}

export function outcomeToJson(outcome: Outcome, debug: boolean): OutcomeJson {
  const { command, exit, diagnostics, value, sources = new Map(), trace } = outcome;
  return {
    ...(command !== undefined && { command }),
    exit,
    diagnostics: toJson(diagnostics, sources),
    ...value,
    ...(debug && trace !== undefined && { trace }),
  };
}
