import { main } from '../../src/cli/main.ts';
import type { Command } from '../../src/commands/command.ts';
import type { Commands } from '../../src/commands/commands.ts';
import type { Host } from '../../src/host/host.ts';
import type { Progress } from '../../src/host/progress.ts';
import { Store } from '../../src/host/store.ts';

export interface Ran {
  readonly code: number;
  readonly stdout: string;
  readonly stderr: string;
  /** What each command was called with, in order. */
  readonly calls: readonly (readonly [name: string, options: unknown])[];
  /** How often progress was told to end. */
  readonly ended: number;
}

export interface FakeWorld {
  /** What every command does; it answers `{ ok: true }` when absent. */
  readonly command?: Command<unknown>;
  readonly signal?: AbortSignal;
  readonly env?: Record<string, string>;
  readonly terminal?: boolean;
  /** Which commands there are; all when absent. */
  readonly names?: readonly (keyof Commands)[];
}

const everyName = [
  'new',
  'check',
  'pin',
  'kit',
  'keep',
  'environment',
  'build',
  'config',
  'why',
  'verify',
  'boot',
  'store',
] as const;

/** Runs the command line with commands that only note how they were called. */
export async function runCli(argv: readonly string[], world: FakeWorld = {}): Promise<Ran> {
  const calls: [string, unknown][] = [];
  const out: string[] = [];
  const err: string[] = [];
  let ended = 0;
  const ok: Command<unknown> = async () => ({ exit: 0, diagnostics: [], value: { ok: true } });
  const { command = ok, names = everyName } = world;
  const noting =
    (name: string): Command<unknown> =>
    (options, host) => {
      calls.push([name, options]);
      return command(options, host);
    };
  const progress: Progress = {
    stage: () => undefined,
    advance: () => undefined,
    line: () => undefined,
    end: () => (ended += 1),
  };
  const host: Host = {
    cwd: '/otter',
    env: world.env ?? {},
    now: () => new Date(0),
    signal: world.signal ?? new AbortController().signal,
    progress,
    store: new Store('/otter/store'),
  };
  const code = await main(
    argv,
    {
      stdout: { write: (text) => out.push(text) },
      stderr: { write: (text) => err.push(text), isTTY: world.terminal ?? false },
      host,
    },
    Object.fromEntries(names.map((name) => [name, noting(name)])),
  );
  return { code, stdout: out.join(''), stderr: err.join(''), calls, ended };
}
