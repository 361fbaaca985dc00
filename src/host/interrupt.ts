import { killRunning } from './processes.ts';

/** The reason of an aborted `Host.signal`: somebody, or the system, asked the process to stop. */
export class Interrupted extends Error {
  readonly signal: NodeJS.Signals;

  constructor(signal: NodeJS.Signals) {
    super(`interrupted by ${signal}`);
    this.name = 'Interrupted';
    this.signal = signal;
  }
}

const watched = ['SIGINT', 'SIGTERM', 'SIGHUP'] as const;

/** The part of `process` that this needs; tests pass an emitter. */
export interface SignalSource {
  on(signal: NodeJS.Signals, listener: (signal: NodeJS.Signals) => void): unknown;
  off(signal: NodeJS.Signals, listener: (signal: NodeJS.Signals) => void): unknown;
}

export interface Interrupts {
  readonly signal: AbortSignal;
  /** Stops watching: signals do again what they do by default. */
  dispose(): void;
}

/**
 * Turns Ctrl-C, termination and hang-up into an aborted signal, so that whoever waits can clean up.
 *
 * @param onSecond called when a second one comes while the first is still being obeyed; by then every program that
 *   was started here has been killed, and what is left to do is to end the process
 */
export function watchInterrupts(
  source: SignalSource,
  onSecond: (signal: NodeJS.Signals) => void,
): Interrupts {
  const controller = new AbortController();
  const listener = (signal: NodeJS.Signals): void => {
    if (!controller.signal.aborted) return controller.abort(new Interrupted(signal));
    killRunning();
    onSecond(signal);
  };
  for (const name of watched) source.on(name, listener);
  return {
    signal: controller.signal,
    dispose: () => {
      for (const name of watched) source.off(name, listener);
    },
  };
}
