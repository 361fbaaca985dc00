/** Files that are known by digest, from wherever they can be had: the store, else each URL in turn. */
import { Failure } from '../diagnostics/catalogue.ts';
import { isWrongDigest, judgeAttempt, noPlaceHas, type Attempt } from './attempts.ts';
import { withClaim } from './claim.ts';
import type { Host } from './host.ts';
import { applyMirrors } from './mirrors.ts';
import { networkOf } from './network.ts';
import { formatBytes } from './quantities.ts';
import { receiveFile, type ReceiveOptions } from './receive-file.ts';

export interface DownloadItem {
  /** What it is called in messages, where the URL does not say it. */
  readonly name?: string;
  /** Tried in this order, after the machine's mirrors were applied. */
  readonly urls: readonly string[];
  readonly sha256: string;
  /** Bytes; never more than these are read. */
  readonly size: number;
}

export type DownloadOptions = ReceiveOptions;

/**
 * Brings a file into the store and answers with its path there.
 * @throws Failure `host/gone` when every URL answers that it has no such file, `host/wrong-digest` when one of them
 *   hands out something else, `host/download-failed` otherwise; what the store throws; the reason of `host.signal`
 */
export async function download(
  host: Host,
  item: DownloadItem,
  options: DownloadOptions = {},
): Promise<string> {
  const { sha256, size } = item;
  if (await host.store.has(sha256)) {
    options.onBytes?.(size, size);
    return host.store.path(sha256);
  }
  // of several that want it, one fetches it
  return await withClaim(host.store.claimPath(sha256), host.signal, async () => {
    if (!(await host.store.has(sha256))) return fetchFromAny(host, item, options);
    options.onBytes?.(size, size);
    return host.store.path(sha256);
  });
}

async function fetchFromAny(host: Host, item: DownloadItem, options: DownloadOptions): Promise<string> {
  const { mirrors } = networkOf(host);
  const attempts: Attempt[] = [];
  for (const url of new Set(item.urls.map((one) => applyMirrors(one, mirrors)))) {
    const outcome = await tryUrl(host, url, item, options);
    if (typeof outcome === 'string') return outcome;
    attempts.push(outcome);
  }
  const pinned = `It was pinned with ${formatBytes(item.size)} and the SHA-256 ${item.sha256}.`;
  throw new Failure(noPlaceHas(nameOf(item), attempts, [pinned], 'packages'));
}

async function tryUrl(
  host: Host,
  url: string,
  item: DownloadItem,
  options: DownloadOptions,
): Promise<string | Attempt> {
  try {
    return await fetchPinned(host, url, item, options);
  } catch (error) {
    return judgeAttempt(url, error);
  }
}

async function fetchPinned(
  host: Host,
  url: string,
  item: DownloadItem,
  options: DownloadOptions,
  again = false,
): Promise<string> {
  const incoming = await host.store.receive(item.size);
  try {
    const { size } = item;
    const { joined } = await receiveFile(host, url, incoming, { size, pinned: true }, options);
    try {
      return (await host.store.keep(incoming, item)).path;
    } catch (error) {
      options.onBytes?.(-incoming.size, size);
      // put together of two files, one of which may be right
      if (!joined || again || !isWrongDigest(error)) throw error;
    }
  } finally {
    await incoming.drop();
  }
  return fetchPinned(host, url, item, options, true);
}

function nameOf(item: DownloadItem): string {
  if (item.name !== undefined) return item.name;
  const [url] = item.urls;
  if (url === undefined) return `the file with the SHA-256 ${item.sha256}`;
  const last = url.replace(/[?#].*$/, '').replace(/^.*\//, '');
  return last.replace(/%2b/gi, '+').replace(/%3a/gi, ':').replace(/%7e/gi, '~');
}

/**
 * Brings several files into the store, some at a time, as one stage of the work. The first failure stops the rest.
 * @param stage what the progress calls it: `fetching packages`
 * @returns paths in the store, in the order of `items`
 */
export async function downloadAll(
  host: Host,
  stage: string,
  items: readonly DownloadItem[],
  { parallel = 8, ...options }: DownloadOptions & { readonly parallel?: number } = {},
): Promise<readonly string[]> {
  const total = items.reduce((sum, item) => sum + item.size, 0);
  const stop = new AbortController();
  const workHost = { ...host, signal: AbortSignal.any([host.signal, stop.signal]) };
  let done = 0;
  const onBytes = (count: number): void => {
    done += count;
    host.progress.advance(done, total, 'bytes');
    options.onBytes?.(count, total);
  };
  host.progress.stage(stage);
  const paths: string[] = Array.from({ length: items.length }, () => '');
  const queue = items.entries();
  const work = async (): Promise<void> => {
    for (const [place, item] of queue) paths[place] = await download(workHost, item, { ...options, onBytes });
  };
  const workers = Array.from({ length: Math.min(parallel, items.length) }, async () => {
    try {
      await work();
    } catch (error) {
      if (!stop.signal.aborted) stop.abort(error);
      throw error;
    }
  });
  await Promise.allSettled(workers);
  stop.signal.throwIfAborted();
  host.signal.throwIfAborted();
  return paths;
}
