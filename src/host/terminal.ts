import { liveProgress, type LiveSink } from './live-progress.ts';
import { plainProgress } from './plain-progress.ts';
import type { Progress } from './progress.ts';

/** The part of a writable stream that showing things needs. Progress goes to stderr: stdout belongs to the answer. */
export interface TerminalStream extends LiveSink {
  readonly isTTY?: boolean;
}

export type Environment = Readonly<Record<string, string | undefined>>;

/** Whether text may be coloured: on a terminal that is able to, unless `NO_COLOR` is set (https://no-color.org). */
export function wantsColor(stream: TerminalStream, env: Environment): boolean {
  return isLive(stream, env) && (env['NO_COLOR'] ?? '') === '';
}

/** A status line that is redrawn on a terminal, plain lines elsewhere (a file, a pipe, a log of CI). */
export function terminalProgress(stream: TerminalStream, env: Environment): Progress {
  return isLive(stream, env) ? liveProgress(stream, wantsColor(stream, env)) : plainProgress(stream);
}

/** `TERM=dumb` says that the cursor cannot be moved. */
function isLive(stream: TerminalStream, env: Environment): boolean {
  return stream.isTTY === true && env['TERM'] !== 'dumb';
}
