import { setTimeout as sleep } from 'node:timers/promises';

import { FetchError } from './fetch-error.ts';

/** Milliseconds to wait before the second and the third try. */
export const defaultPauses: readonly number[] = [1_000, 4_000];

/** Milliseconds; who wants to be asked later than this is asked by whoever starts again. */
const mostPatience = 120_000;

/**
 * Does `work`, and again after each of `pauses` while it fails in a way that may pass; later, where the server says so.
 * @throws what `work` throws at last; the reason of `signal`
 */
export async function withRetries<T>(
  signal: AbortSignal,
  pauses: readonly number[],
  work: () => Promise<T>,
): Promise<T> {
  for (let count = 0; ; count += 1) {
    signal.throwIfAborted();
    try {
      return await work();
    } catch (error) {
      const pause = error instanceof FetchError && error.transient ? pauses[count] : undefined;
      if (pause === undefined || !(error instanceof FetchError)) throw error;
      const { retryAfter = 0 } = error;
      if (retryAfter > mostPatience) throw error;
      await sleep(Math.max(pause, retryAfter), undefined, { signal }).catch(() => signal.throwIfAborted());
    }
  }
}
