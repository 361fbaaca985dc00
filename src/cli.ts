#!/usr/bin/env node
import { setFlagsFromString } from 'node:v8';

import { main } from './cli/main.ts';
import { commands } from './commands/commands.ts';
import { describeError, traceOf } from './commands/describe-error.ts';
import { exitCodes, exitOf } from './diagnostics/diagnostic.ts';
import { formatText } from './diagnostics/format-text.ts';
import { watchInterrupts } from './host/interrupt.ts';
import { processHost } from './host/process-host.ts';

const { argv, stdout, stderr } = process;

// Most commands are over before optimised code makes up for the time that it takes. The V8 of older Nodes begins with it
// early: let it wait, which takes a fifth off reading a tree. Newer ones have a quick compiler for the time until then.
if (Number.parseInt(process.versions.node, 10) < 24) setFlagsFromString('--interrupt-budget=1000000');

for (const stream of [stdout, stderr]) {
  // Whoever read has had enough, as in `quern check … | head`: no reason to stop, nor to complain.
  stream.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code !== 'EPIPE') throw error;
  });
}

// An error that no promise carries back to `main`, from a stream or a timer.
process.on('uncaughtException', (error) => {
  const trace = argv.includes('--debug') ? `\n${traceOf(error)}\n` : '';
  const diagnostics = describeError(error);
  stderr.write(formatText(diagnostics, new Map(), { color: false }) + trace);
  process.exit(exitOf(diagnostics));
});

const { signal } = watchInterrupts(process, () => process.exit(exitCodes.interrupted));
const code = await main(argv.slice(2), { stdout, stderr, host: processHost(signal) }, commands);

// What was written may still be on its way; then the end must not depend on a handle that somebody forgot.
const flushed = (stream: NodeJS.WriteStream): Promise<void> =>
  new Promise((resolve) => {
    stream.write('', () => resolve());
  });
await Promise.all([flushed(stdout), flushed(stderr)]);
process.exit(code);
