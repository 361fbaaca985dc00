import type { Arguments } from './arguments.ts';
import type { Flags } from './flags.ts';

/** How one command looks on the command line. */
export interface CommandLine<Options> {
  /** For the list of all commands: what it does, in one line. */
  readonly summary: string;
  /** What `--help` prints. */
  readonly help: string;
  /** What its arguments are called. */
  readonly operands: readonly string[];
  /** How many of them there must be; all of them when absent. */
  readonly needs?: number;
  readonly flags: Flags;
  /** Turns what was given into the command's options; what is wrong is noted by the arguments themselves. */
  readonly read: (given: Arguments) => Options;
}
