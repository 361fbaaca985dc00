/**
 * One request over HTTP, with the limits that a careful client has: time to answer, time without a byte, a pace to keep,
 * number of redirects, no protocol but http and https, and no place that a stranger's URL has no business with. Whether
 * the content is right is checked by whoever reads it.
 */
import type { IncomingHttpHeaders, IncomingMessage } from 'node:http';

import { Failure } from '../diagnostics/catalogue.ts';
import { FetchError, networkError } from './fetch-error.ts';
import type { Host } from './host.ts';
import { isLocalHost } from './local-address.ts';
import { networkOf, type Network } from './network.ts';
import { authorizationFor, forbiddenAddress, sendRequest } from './send-request.ts';

export interface FetchLimits {
  /** Milliseconds until the answer's head must be there. */
  readonly connect: number;
  /** Milliseconds that may pass without a byte. */
  readonly stall: number;
  /** Bytes that must come in a second, taken over `stall` milliseconds of waiting. */
  readonly pace: number;
  readonly redirects: number;
}

export const defaultFetchLimits: FetchLimits = {
  connect: 30_000,
  stall: 60_000,
  pace: 1_000,
  redirects: 5,
};

/** The rest of a file of which the beginning has come. */
export interface Rest {
  /** Bytes that there are. */
  readonly from: number;
  /** What the server called that version of the file, where it did. */
  readonly version: string | undefined;
}

export interface Fetched {
  /** Bytes of the whole file, if the server says so. */
  readonly length?: number;
  /** Where in the file the content begins: a server need not know how to hand out the rest of one. */
  readonly from: number;
  /** What the server calls this version of the file: a strong entity tag (RFC 9110 section 8.8.3). */
  readonly version?: string;
  /** Of its media type, in lower case: `text/html`. */
  readonly mediaType: string;
  /** The digest that a registry tells of what it hands out (OCI distribution specification). */
  readonly digest?: string;
  /** Throws a `FetchError` when the content breaks off. To be read to its end, or `close` called. */
  readonly chunks: AsyncIterable<Uint8Array>;
  close(): void;
}

/** What a request says beyond what every request does. It is for the host that is asked, and for none that this leads to. */
export type ExtraHeaders = Readonly<Record<string, string>>;

/**
 * Requests `url` and answers when the head of a good answer is there.
 * @throws FetchError; the reason of `host.signal`; Failure `host/bad-setting`
 */
export async function fetchUrl(
  host: Pick<Host, 'env' | 'signal'>,
  url: string,
  limits: FetchLimits = defaultFetchLimits,
  rest?: Rest,
  extra: ExtraHeaders = {},
): Promise<Fetched> {
  const network = networkOf(host);
  const watch = new Watch(host.signal);
  try {
    const response = await follow(network, url, rest, extra, watch, limits);
    watch.pause();
    return {
      ...contentOf(response, rest),
      chunks: readBody(response, watch, limits),
      close: () => {
        watch.stop();
        response.destroy();
      },
    };
  } catch (error) {
    const reason = watch.explain(error);
    watch.stop();
    throw reason;
  }
}

/** Ends a request that the caller gives up, or that is silent for too long. */
class Watch {
  readonly #controller = new AbortController();
  readonly #outer: AbortSignal;
  readonly signal: AbortSignal;
  #timer: NodeJS.Timeout | undefined;

  constructor(outer: AbortSignal) {
    this.#outer = outer;
    this.signal = AbortSignal.any([outer, this.#controller.signal]);
  }

  /** From now on, `milliseconds` may pass until the next call. */
  expect(milliseconds: number, what: string): void {
    clearTimeout(this.#timer);
    const late = new FetchError(`${what} for ${milliseconds / 1000} s`, { transient: true });
    this.#timer = setTimeout(() => this.#controller.abort(late), milliseconds);
  }

  pause(): void {
    clearTimeout(this.#timer);
  }

  stop(): void {
    clearTimeout(this.#timer);
    this.#controller.abort(new FetchError('given up'));
  }

  /** The reason behind what a request that was ended says. */
  explain(error: unknown): unknown {
    if (this.#outer.aborted) return this.#outer.reason;
    if (error instanceof FetchError || error instanceof Failure) return error;
    return this.#controller.signal.aborted ? this.#controller.signal.reason : networkError(error);
  }
}

async function follow(
  network: Network,
  first: string,
  rest: Rest | undefined,
  extra: ExtraHeaders,
  watch: Watch,
  limits: FetchLimits,
): Promise<IncomingMessage> {
  const asked = parse(first);
  let url = asked;
  for (let count = 0; count <= limits.redirects; count += 1) {
    const guarded = !network.allowedHosts.has(url.hostname);
    if (guarded && isLocalHost(url.hostname)) throw forbiddenAddress(url.hostname);
    watch.expect(limits.connect, 'no answer');
    const own = { ...headersFor(network, url, rest), ...(url.origin === asked.origin && extra) };
    const response = await sendRequest(network, url, own, guarded, watch.signal);
    const { statusCode = 0, statusMessage = '', headers } = response;
    if (statusCode >= 200 && statusCode < 300) return response;
    response.destroy();
    if (statusCode < 300 || statusCode >= 400 || headers.location === undefined)
      throw statusError(statusCode, statusMessage, headers);
    const next = parse(headers.location, url);
    if (url.protocol === 'https:' && next.protocol === 'http:' && !network.allowedHosts.has(next.hostname))
      throw new FetchError(`it leads from https to ${next.origin}, where anybody may change what comes`, {
        forbidden: true,
      });
    url = next;
  }
  throw new FetchError(`it redirects more than ${limits.redirects} times`);
}

function parse(text: string, base?: URL): URL {
  if (!URL.canParse(text, base?.href)) throw new FetchError('it is no URL');
  const url = new URL(text, base);
  if (!/^https?:$/.test(url.protocol))
    throw new FetchError(`it leads to ${url.href}, which is not http or https`);
  if (url.username === '' && url.password === '') return url;
  // not shown: it may be the one of whoever set this machine up
  throw new FetchError('there is a user or a password in it: these stand in the file that NETRC names');
}

function headersFor(network: Network, url: URL, rest: Rest | undefined): Record<string, string> {
  const authorization = authorizationFor(network, url);
  return {
    // Without this header a server may hand out a `.gz` file as a compressed form of what is inside.
    'accept-encoding': 'identity',
    'user-agent': 'quern',
    ...(authorization !== undefined && { authorization }),
    ...(rest && { range: `bytes=${rest.from}-` }),
    ...(rest?.version !== undefined && { 'if-range': rest.version }),
  };
}

function statusError(status: number, text: string, headers: IncomingHttpHeaders): FetchError {
  const transient = status === 408 || status === 429 || status >= 500;
  const challenge = headers['www-authenticate'];
  const retryAfter = delayOf(headers['retry-after']);
  const message = `it answered ${status} ${text}`.trim();
  return new FetchError(message, { status, transient, challenge, retryAfter });
}

/** In seconds, or until a date. */
function delayOf(value: string | undefined): number | undefined {
  if (value === undefined) return undefined;
  const delay = /^\d{1,9}$/.test(value) ? Number(value) * 1000 : Date.parse(value) - Date.now();
  return delay > 0 ? delay : undefined;
}

function contentOf(
  { statusCode, headers }: IncomingMessage,
  rest: Rest | undefined,
): Omit<Fetched, 'chunks' | 'close'> {
  const version = /^"[^"]*"$/.test(headers.etag ?? '') ? headers.etag : undefined;
  const mediaType = (headers['content-type'] ?? '').replace(/;.*/s, '').trim().toLowerCase();
  const digest = headers['docker-content-digest'];
  const described = {
    ...(version !== undefined && { version }),
    ...(typeof digest === 'string' && { digest }),
    mediaType,
  };
  if (statusCode !== 206) {
    const length = Number(headers['content-length'] ?? NaN);
    return { ...described, from: 0, ...(Number.isSafeInteger(length) && { length }) };
  }
  const [, from, length] = /^bytes (\d+)-\d+\/(\d+|\*)$/.exec(headers['content-range'] ?? '') ?? [];
  if (!rest || Number(from) !== rest.from)
    throw new FetchError('it hands out another part of the file than it was asked for', { transient: true });
  return { ...described, from: rest.from, ...(length !== '*' && { length: Number(length) }) };
}

async function* readBody(
  response: IncomingMessage,
  watch: Watch,
  limits: FetchLimits,
): AsyncGenerator<Uint8Array> {
  const pace = new Pace(limits);
  try {
    let since = performance.now();
    watch.expect(limits.stall, 'no byte');
    for await (const chunk of response as AsyncIterable<Uint8Array>) {
      // The consumer's time is not the server's.
      watch.pause();
      pace.count(chunk.length, performance.now() - since);
      yield chunk;
      since = performance.now();
      watch.expect(limits.stall, 'no byte');
    }
  } catch (error) {
    throw watch.explain(error);
  } finally {
    watch.stop();
  }
}

/** A server that hands out a byte now and then would hold a download for ever. */
class Pace {
  readonly #limits: FetchLimits;
  #bytes = 0;
  #waited = 0;

  constructor(limits: FetchLimits) {
    this.#limits = limits;
  }

  count(bytes: number, waited: number): void {
    const { pace, stall } = this.#limits;
    this.#bytes += bytes;
    this.#waited += waited;
    if (this.#waited < stall) return;
    if (this.#bytes < (pace * this.#waited) / 1000)
      throw new FetchError(`it sends less than ${pace} bytes in a second`, { transient: true });
    this.#bytes = 0;
    this.#waited = 0;
  }
}
