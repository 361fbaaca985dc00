import { mkdir, open, readFile, rm, stat, utimes } from 'node:fs/promises';
import { dirname } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';

import { isOfEndedProcess, processMark } from './store-aside.ts';

/** Whoever holds a claim says so at least this often; milliseconds. */
const beat = 5_000;
/** One that is silent for so long is held by nobody any more: its process was killed in another container. */
const silence = 12 * beat;
const look = 100;

/**
 * Does something that only one process at a time should do, such as fetching a file into a store that others share. The
 * others wait. It saves work, and nothing rests on it: where no claim can be made, each does the work for itself.
 *
 * @param path of the claim, a file that is there as long as it is held
 * @throws the reason of `signal`, and what `work` throws
 */
export async function withClaim<Value>(
  path: string,
  signal: AbortSignal,
  work: () => Promise<Value>,
): Promise<Value> {
  if (!(await claim(path, signal))) return await work();
  const beating = setInterval(() => {
    const now = new Date();
    utimes(path, now, now).catch(() => undefined);
  }, beat);
  beating.unref();
  try {
    return await work();
  } finally {
    clearInterval(beating);
    await rm(path, { force: true });
  }
}

/** @returns whether it is held now; it is not where none can be made */
async function claim(path: string, signal: AbortSignal): Promise<boolean> {
  await mkdir(dirname(path), { recursive: true }).catch(() => undefined);
  for (;;) {
    signal.throwIfAborted();
    try {
      const handle = await open(path, 'wx', 0o644);
      await handle.writeFile(processMark());
      await handle.close();
      return true;
    } catch (error) {
      if (!(error instanceof Error && 'code' in error && error.code === 'EEXIST')) return false;
    }
    if (await isDropped(path)) await rm(path, { force: true });
    else await pause(look, undefined, { signal }).catch(() => signal.throwIfAborted());
  }
}

/** Whether nobody holds the claim any more that is there. */
export async function isDropped(path: string): Promise<boolean> {
  const there = await stat(path).catch(() => undefined);
  if (!there) return false;
  if (Date.now() - there.mtimeMs > silence) return true;
  return isOfEndedProcess(await readFile(path, 'utf8').catch(() => ''));
}
