/** Files that are known by digest, from wherever they can be had: the store, else each URL in turn. */
import { Failure } from '../diagnostics/catalogue.ts';
import { fetchCodes, type FetchCode } from './fetch-codes.ts';
import { withClaim } from './claim.ts';
import { FetchError } from './fetch-error.ts';
import type { Host } from './host.ts';
import { applyMirrors } from './mirrors.ts';
import { networkOf } from './network.ts';
import { formatBytes } from './quantities.ts';
import { receiveFile, type ReceiveOptions } from './receive-file.ts';

export interface DownloadItem {
  /** Tried in this order, after the machine's mirrors were applied. */
  readonly urls: readonly string[];
  readonly sha256: string;
  /** Bytes; never more than these are read. */
  readonly size: number;
}

export type DownloadOptions = ReceiveOptions;

interface Attempt {
  readonly url: string;
  readonly why: string;
  readonly kind: 'content' | 'forbidden' | 'gone' | 'failed';
}

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
  throw new Failure(describeFailure(item, attempts));
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
    return judge(url, error);
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
      if (!joined || again || codeOf(error) !== 'host/wrong-digest') throw error;
    }
  } finally {
    await incoming.drop();
  }
  return fetchPinned(host, url, item, options, true);
}

function codeOf(error: unknown): string | undefined {
  return error instanceof Failure ? error.diagnostics[0]?.code : undefined;
}

const contentCodes: ReadonlySet<string | undefined> = new Set([
  'host/wrong-digest',
  'host/wrong-size',
  'host/not-the-file',
]);

/** Makes an attempt of an error that belongs to the URL; anything else (the store, Ctrl-C, a bug) goes on. */
function judge(url: string, error: unknown): Attempt {
  if (error instanceof FetchError) {
    const gone = error.status === 404 || error.status === 410;
    return { url, why: error.message, kind: error.forbidden ? 'forbidden' : gone ? 'gone' : 'failed' };
  }
  const code = codeOf(error);
  if (error instanceof Failure && contentCodes.has(code)) return { url, why: error.message, kind: 'content' };
  throw error;
}

function nameOf(item: DownloadItem): string {
  const [url] = item.urls;
  if (url === undefined) return `the file with the SHA-256 ${item.sha256}`;
  const last = url.replace(/[?#].*$/, '').replace(/^.*\//, '');
  return last.replace(/%2b/gi, '+').replace(/%3a/gi, ':').replace(/%7e/gi, '~');
}

function describeFailure(
  item: DownloadItem,
  attempts: readonly Attempt[],
): ReturnType<typeof fetchCodes.report> {
  const is = (kind: Attempt['kind']): boolean => attempts.some((attempt) => attempt.kind === kind);
  const name = nameOf(item);
  const notes = [
    ...attempts.map(({ url, why }) => `${url}: ${why}`),
    `It was pinned with ${formatBytes(item.size)} and the SHA-256 ${item.sha256}.`,
  ];
  const report = (code: FetchCode, message: string, help: string): ReturnType<typeof fetchCodes.report> =>
    fetchCodes.report(code, { message, notes, help });
  if (attempts.length === 0) {
    const help = 'Lay the file into the store of this machine, or pin it anew: quern pin --refresh all.';
    return report('host/gone', `there is no place to fetch ${name} from`, help);
  }
  if (is('content')) {
    const help =
      'Either the place is not what it should be, or the file was replaced there: try another mirror ' +
      '(QUERN_MIRRORS), or look into what has changed and pin anew (quern pin --refresh packages).';
    return report('host/wrong-digest', `${name} is not the file that was pinned`, help);
  }
  if (is('forbidden')) {
    const help =
      'If it really is to be fetched from there, allow the host on this machine: QUERN_ALLOWED_HOSTS=NAME. ' +
      'Whoever wrote the spec or runs the server must not decide that.';
    return report('host/forbidden-target', `${name} leads to where nothing is fetched from`, help);
  }
  if (!is('failed')) {
    const help =
      'Name a mirror or a snapshot that still has it in QUERN_MIRRORS="PREFIX=REPLACEMENT", ' +
      'or pin what there is today: quern pin --refresh packages.';
    return report('host/gone', `${name} has left every place that it could be fetched from`, help);
  }
  const help =
    'Check the network of this machine and try again, or name a mirror that can be reached: ' +
    'QUERN_MIRRORS="PREFIX=REPLACEMENT". If the file has left the archive: quern pin --refresh packages.';
  return report('host/download-failed', `${name} cannot be fetched`, help);
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
