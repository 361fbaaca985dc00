import { cpus } from 'node:os';

import { run } from '../../src/host/processes.ts';
import type { ContainerCpu, EngineApi } from './engine-api.ts';
import { cpuOfChildren } from './process-tree.ts';

/** What one phase of a program that builds in a container has used. Seconds. */
export interface Phase {
  /** CPU of everything in the container, user and system together, and which part was which as far as that is known. */
  readonly container: ContainerCpu;
  /** CPU of the program itself and of all that it has started on this side of the engine. */
  readonly client: number;
  /** CPU of everything else on this machine meanwhile: a busy machine makes the same work cost more. */
  readonly others: number;
  readonly wall: number;
}

export interface PhaseMarks {
  /** The line with which the phase begins. */
  readonly begin: RegExp;
  /** The line with which it ends; the container lives a little longer. */
  readonly end: RegExp;
  /** Asked once, when the phase has begun: the id of the container. */
  readonly container: () => Promise<string>;
}

export interface Measured extends Phase {
  /** All that the program has printed on standard output. */
  readonly output: string;
}

interface Sample {
  readonly id: string;
  readonly container: ContainerCpu;
  readonly client: number;
  readonly machine: number;
  readonly at: number;
}

/**
 * Runs a program and measures one phase of it, from outside: nothing is put into the container, nor round what runs
 * there, and whatever runs there counts. The accounts are read when the two lines arrive, some milliseconds late.
 *
 * @throws Error when the program fails, or one of the lines never comes
 */
export async function measurePhase(
  command: readonly [string, ...string[]],
  marks: PhaseMarks,
  api: EngineApi,
  options: { readonly cwd: string; readonly signal: AbortSignal },
): Promise<Measured> {
  let begun: Promise<Sample> | undefined;
  let ended: Promise<Sample> | undefined;
  const sample = async (container: Promise<string>): Promise<Sample> => {
    const at = performance.now();
    const client = cpuOfChildren();
    const machine = cpuOfMachine();
    const id = await container;
    return { id, container: await api.cpuOf(id), client, machine, at };
  };
  const [program, ...args] = command;
  const { code, stdout, stderr } = await run(program, args, {
    ...options,
    ownGroup: true,
    grace: 60_000,
    onLine: (_, line) => {
      if (!begun && marks.begin.test(line)) begun = sample(marks.container());
      else if (begun && !ended && marks.end.test(line)) ended = sample(begun.then(({ id }) => id));
    },
  });
  if (code !== 0) throw new Error(`${command.join(' ')} ended with ${code}:\n${stderr}`);
  if (!begun || !ended) throw new Error(`${command.join(' ')} never said ${begun ? marks.end : marks.begin}`);
  const [before, after] = await Promise.all([begun, ended]);
  const container = {
    total: after.container.total - before.container.total,
    user: after.container.user - before.container.user,
    system: after.container.system - before.container.system,
  };
  const client = after.client - before.client;
  return {
    container,
    client,
    others: Math.max(0, after.machine - before.machine - container.total - client),
    wall: (after.at - before.at) / 1000,
    output: stdout,
  };
}

/** Seconds that all processors together have been busy since the machine was started. */
function cpuOfMachine(): number {
  return cpus().reduce((sum, { times }) => sum + times.user + times.nice + times.sys + times.irq, 0) / 1000;
}
