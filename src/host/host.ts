import type { Progress } from './progress.ts';
import type { Store } from './store.ts';

/** Everything a command may touch beyond its options. Tests pass their own; `cli.ts` and the Action make the real one. */
export interface Host {
  readonly cwd: string;
  readonly env: Readonly<Record<string, string | undefined>>;
  readonly now: () => Date;
  /** Aborted by Ctrl-C or a termination signal: whoever waits stops, cleans up and throws the signal's reason. */
  readonly signal: AbortSignal;
  readonly progress: Progress;
  readonly store: Store;
}
