import { inspect } from 'node:util';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { refusalWords } from '../diagnostics/system-words.ts';
import { commandCodes } from './codes.ts';

/** What to tell about an error that a command threw. */
export function describeError(error: unknown): readonly Diagnostic[] {
  if (error instanceof Failure && error.diagnostics.length > 0) return error.diagnostics;
  return [refusalIn(error) ?? internalError(error)];
}

/** The texts that the diagnostics of an error point into. */
export function sourcesOf(error: unknown): ReadonlyMap<string, string> {
  return error instanceof Failure ? error.sources : new Map();
}

/** The whole error with its stack and its causes, for `--debug`. */
export function traceOf(error: unknown): string {
  return inspect(error, { colors: false, depth: 6 });
}

export function interruption(reason: unknown): Diagnostic {
  return commandCodes.report('command/interrupted', {
    message: reason instanceof Error ? reason.message : 'interrupted',
  });
}

function refusalIn(error: unknown): Diagnostic | undefined {
  const why = refusalWords(error);
  if (why === undefined || !(error instanceof Error)) return undefined;
  const path = 'path' in error && typeof error.path === 'string' ? `${quoted(error.path)}: ` : '';
  return commandCodes.report('command/system-refused', {
    message: `${path}${why}`,
    notes: [`The system's own words: ${error.message}.`],
    help: 'See to that, or ask whoever runs this machine, and run the same again.',
  });
}

function internalError(error: unknown): Diagnostic {
  const words = error instanceof Error ? `${error.name}: ${error.message}` : String(error);
  return commandCodes.report('command/internal-error', {
    message: `something went wrong inside Quern: ${words}`,
    notes: ['This is a mistake of ours, not of yours.'],
    help: 'Run the same with `quern … --debug`, and report what it prints.',
  });
}
