import { readdir } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';

import type { Diagnostic } from '../src/diagnostics/diagnostic.ts';
import { quoted } from '../src/diagnostics/printable.ts';
import type { Host } from '../src/host/host.ts';
import { actionCodes } from './codes.ts';

export interface Upload {
  readonly name: string;
  /** All files in it and below are uploaded. */
  readonly folder: string;
  readonly retentionDays?: number | undefined;
}

export interface Uploaded {
  readonly id: string;
  /** SHA-256 of the archive that was uploaded. */
  readonly sha256: string;
}

export interface Patience {
  /** Milliseconds until nothing is expected any more. */
  readonly limit: number;
  /** Milliseconds before each further try when the service cannot be reached. */
  readonly pauses: readonly number[];
}

/** The client itself repeats requests that are answered with an error, and gives up a stalled transfer after five minutes. */
const usualPatience: Patience = { limit: 15 * 60_000, pauses: [2_000, 10_000] };

/**
 * Uploads a folder to the workflow run's artifacts. What was built is in its folder whatever comes of this: a service
 * that fails or never answers is a warning. Ends at once when `host.signal` is aborted.
 */
export async function uploadFolder(
  upload: Upload,
  host: Host,
  patience: Patience = usualPatience,
): Promise<{ readonly value?: Uploaded; readonly diagnostics: readonly Diagnostic[] }> {
  if (!hasService(host.env)) {
    const message = 'this runner offers no artifact service: nothing is uploaded';
    const help = `What was built is in ${quoted(upload.folder)}.`;
    return { diagnostics: [actionCodes.report('action/no-artifact-service', { message, help })] };
  }
  try {
    const value = await withinLimit(patience.limit, host.signal, () => send(upload, host, patience.pauses));
    return { value, diagnostics: [] };
  } catch (error) {
    if (host.signal.aborted) return { diagnostics: [] };
    const diagnostic = actionCodes.report('action/artifact-failed', {
      message: `the artifact ${quoted(upload.name)} could not be uploaded: ${reasonOf(error)}`,
      notes: [`What was built is whole, in ${quoted(upload.folder)}; later steps can use it.`],
      help: 'Run the job again, or see in the status of the service whether it works. Two uploads of one run need two names.',
    });
    return { diagnostics: [diagnostic] };
  }
}

/**
 * The service was never reached. The client repeats nothing then; and behind this point an artifact of that name exists,
 * and a second one is refused.
 */
const unreached = /^Failed to CreateArtifact: Unable to make request: /u;

/** A runner hands both to every step of a JavaScript action, also for a pull request from a fork. */
function hasService(env: Host['env']): boolean {
  return (env['ACTIONS_RUNTIME_TOKEN'] ?? '') !== '' && (env['ACTIONS_RESULTS_URL'] ?? '') !== '';
}

function reasonOf(error: unknown): string {
  const text = error instanceof Error ? error.message : String(error);
  return text.split('\n')[0] ?? '';
}

async function send(upload: Upload, host: Host, pauses: readonly number[]): Promise<Uploaded> {
  const folder = resolve(host.cwd, upload.folder);
  const files = await filesIn(folder);
  // Large, and of no use to a step that uploads nothing.
  const { DefaultArtifactClient } = await import('@actions/artifact');
  const { retentionDays } = upload;
  for (let count = 0; ; count += 1) {
    try {
      const { id, digest } = await new DefaultArtifactClient().uploadArtifact(upload.name, files, folder, {
        ...(retentionDays !== undefined && { retentionDays }),
      });
      return { id: String(id ?? ''), sha256: digest ?? '' };
    } catch (error) {
      const pause = error instanceof Error && unreached.test(error.message) ? pauses[count] : undefined;
      if (pause === undefined) throw error;
      await sleep(pause, undefined, { signal: host.signal });
    }
  }
}

async function filesIn(folder: string): Promise<string[]> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true });
  return entries
    .filter((entry) => entry.isFile())
    .map(({ parentPath, name }) => join(parentPath, name))
    .sort();
}

/** The client takes no signal: what it still does then ends with the process. */
async function withinLimit<Value>(
  limit: number,
  signal: AbortSignal,
  work: () => Promise<Value>,
): Promise<Value> {
  const over = new AbortController();
  const timer = sleep(limit, undefined, { signal: AbortSignal.any([signal, over.signal]) }).then(() => {
    throw new Error(`the service did not finish within ${Math.ceil(limit / 1000)} s`);
  });
  try {
    return await Promise.race([work(), timer]);
  } finally {
    over.abort();
    timer.catch(() => undefined);
  }
}
