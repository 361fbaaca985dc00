import type { ChildProcess } from 'node:child_process';

/** A program that was started here. */
export interface Program {
  readonly child: ChildProcess;
  /** It leads a process group: signals go to all of that. */
  readonly ownGroup: boolean;
}

export interface StopOptions {
  /** What asks the program to stop; SIGTERM when absent. */
  readonly stopWith?: 'SIGINT' | 'SIGTERM';
  /** Milliseconds between asking and killing; ten seconds when absent. */
  readonly grace?: number;
}

export interface Stopper {
  /** Asks the program to stop, and kills it when it does not. Only the first reason counts. */
  begin(reason: unknown): void;
  begun(): { readonly reason: unknown } | undefined;
  /** The program has ended: nothing is left to be killed. */
  dispose(): void;
}

/** Milliseconds that a stopped program's pipes may stay open: whatever it left behind still holds them. */
const pipeGrace = 500;

export function stopper(program: Program, { stopWith = 'SIGTERM', grace = 10_000 }: StopOptions): Stopper {
  const { child } = program;
  const timers: NodeJS.Timeout[] = [];
  let first: { readonly reason: unknown } | undefined;
  const dropPipes = (): void => {
    child.stdout?.destroy();
    child.stderr?.destroy();
  };
  return {
    begin: (reason) => {
      if (first) return;
      first = { reason };
      const leave = (): void => {
        if (program.ownGroup) killGroup(child, 'SIGKILL');
        timers.push(setTimeout(dropPipes, pipeGrace));
      };
      // one that has ended may have left others behind, which hold its pipes; as long as they live, so does their group
      if (hasEnded(child)) return leave();
      child.once('exit', leave);
      kill(program, stopWith);
      timers.push(setTimeout(() => kill(program, 'SIGKILL'), grace));
    },
    begun: () => first,
    dispose: () => {
      for (const timer of timers) clearTimeout(timer);
    },
  };
}

/** Sends a signal, unless the program has ended: its number may be another's by now. */
export function kill({ child, ownGroup }: Program, signal: NodeJS.Signals): void {
  if (hasEnded(child)) return;
  if (ownGroup) killGroup(child, signal);
  else child.kill(signal);
}

function hasEnded({ exitCode, signalCode }: ChildProcess): boolean {
  return exitCode !== null || signalCode !== null;
}

function killGroup({ pid }: ChildProcess, signal: NodeJS.Signals): void {
  if (pid === undefined) return;
  try {
    process.kill(-pid, signal);
  } catch {
    // Nobody is left in the group, or nobody that we may end.
  }
}
