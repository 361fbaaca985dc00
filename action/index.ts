import { error as issueError } from '@actions/core';

import { describeError } from '../src/commands/describe-error.ts';
import { exitCodes, exitOf } from '../src/diagnostics/diagnostic.ts';
import { watchInterrupts } from '../src/host/interrupt.ts';
import { plainProgress } from '../src/host/plain-progress.ts';
import { defaultStoreFolder, Store } from '../src/host/store.ts';
import { stepLog } from './log.ts';
import { runStep } from './run.ts';

const { env, stdout } = process;

// What a command needs is loaded when it is called: a step with a slip in its inputs need not wait for all of them.
const commands: Parameters<typeof runStep>[0]['commands'] = {
  check: async (options, host) => (await import('../src/commands/check.ts')).check(options, host),
  build: async (options, host) => (await import('../src/commands/build.ts')).build(options, host),
  assertBootable: async (options, host) =>
    (await import('../src/commands/boot.ts')).assertBootable(options, host),
  boot: async (options, host) => (await import('../src/commands/boot.ts')).boot(options, host),
};

function end(code: number): void {
  // What was written may still be on its way; and a client that waits for an answer must not keep the step alive.
  stdout.write('', () => process.exit(code));
}

function endUnforeseen(error: unknown): void {
  const diagnostics = describeError(error);
  for (const { message, notes } of diagnostics) issueError([message, ...notes].join('\n'));
  end(exitOf(diagnostics));
}

process.on('uncaughtException', endUnforeseen);
const log = stepLog(stdout);
// A runner that cancels a run sends SIGINT, some seconds later SIGTERM, and then kills.
const { signal } = watchInterrupts(process, () => process.exit(exitCodes.interrupted));
const cwd = env['GITHUB_WORKSPACE'] ?? process.cwd();
const store = new Store(defaultStoreFolder(env));
const host = { cwd, env, now: () => new Date(), signal, progress: plainProgress(log), store };
runStep({ host, log, commands }).then(end, endUnforeseen);
