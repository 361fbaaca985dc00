import type { CommandResult } from '../commands/command.ts';
import type { DiagnosticJson } from '../diagnostics/to-json.ts';
import { toJson } from '../diagnostics/to-json.ts';

/** How a run of `quern` ended, ready to be printed. */
export interface Outcome extends CommandResult {
  /** Absent when the command line named none that exists. */
  readonly command?: string;
  /** What to show of an error with `--debug`. */
  readonly trace?: string;
}

/** What `--json` prints: the members of the command's own answer stand beside those that all answers have. */
export interface OutcomeJson {
  readonly command?: string;
  readonly exit: number;
  readonly diagnostics: readonly DiagnosticJson[];
  readonly trace?: string;
  readonly [member: string]: unknown;
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
