import type { Host } from './host.ts';
import { defaultStoreFolder, Store } from './store.ts';
import { terminalProgress } from './terminal.ts';

/** The host of this very process: its folder, its environment, its standard error for progress. */
export function processHost(signal: AbortSignal): Host {
  const { env, stderr } = process;
  return {
    cwd: process.cwd(),
    env,
    now: () => new Date(),
    signal,
    progress: terminalProgress(stderr, env),
    store: new Store(defaultStoreFolder(env)),
  };
}
