import type { Diagnostic, ExitCode } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';

/** What a command answers with. Nothing has been printed by then: that is left to whoever called it. */
export interface CommandResult<Value extends object = object> {
  readonly exit: ExitCode;
  readonly diagnostics: readonly Diagnostic[];
  /** Plain JSON data; `--json` prints its members beside `command`, `exit` and `diagnostics`. */
  readonly value: Value;
  /** The same for people: what goes to standard output without `--json`. */
  readonly text?: string;
  /** The text of each file that a span of the diagnostics names, so that the line can be shown. */
  readonly sources?: ReadonlyMap<string, string>;
}

/**
 * One command of Quern, as the command line and the Action call it.
 *
 * @throws Failure when going on makes no sense
 * @throws the reason of `host.signal` when that is aborted
 */
export type Command<Options, Value extends object = object> = (
  options: Options,
  host: Host,
) => Promise<CommandResult<Value>>;
