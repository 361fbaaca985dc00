/**
 * One request over HTTP, with the limits that a careful client has: time to answer, time without a byte, number of
 * redirects, and no protocol but http and https. Whether the content is right is checked by whoever reads it.
 */

export interface FetchLimits {
  /** Milliseconds until the answer's head must be there. */
  readonly connect: number;
  /** Milliseconds that may pass without a byte. */
  readonly stall: number;
  readonly redirects: number;
}

export const defaultFetchLimits: FetchLimits = { connect: 30_000, stall: 60_000, redirects: 5 };

/** Why a URL gave nothing, in words that go behind it: `http://…: it answered 404 Not Found`. */
export class FetchError extends Error {
  /** Status of the answer, when there was one. */
  readonly status: number | undefined;
  /** Whether trying again may help. */
  readonly transient: boolean;

  constructor(
    message: string,
    options: { readonly status?: number; readonly transient?: boolean; readonly cause?: unknown } = {},
  ) {
    super(message, { cause: options.cause });
    this.name = 'FetchError';
    this.status = options.status;
    this.transient = options.transient ?? false;
  }
}

export interface Fetched {
  /** Bytes that the server announces; absent when it does not say. */
  readonly length?: number;
  /** Throws a `FetchError` when the content breaks off. To be read to its end, or `close` called. */
  readonly chunks: AsyncIterable<Uint8Array>;
  close(): void;
}

/**
 * Requests `url` and answers when the head of a good answer is there.
 * @param signal stops it all; its reason is thrown then
 * @throws FetchError
 */
export async function fetchUrl(
  url: string,
  signal: AbortSignal,
  limits: FetchLimits = defaultFetchLimits,
): Promise<Fetched> {
  const watch = new Watch(signal);
  try {
    const response = await follow(url, watch, limits);
    watch.pause();
    const length = Number(response.headers.get('content-length') ?? NaN);
    return {
      ...(Number.isSafeInteger(length) && { length }),
      chunks: readBody(response, watch, limits),
      close: () => watch.stop(),
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

  /** The reason behind an error of `fetch`, which says little itself. */
  explain(error: unknown): unknown {
    if (this.#outer.aborted) return this.#outer.reason;
    if (
      this.#controller.signal.aborted &&
      this.#controller.signal.reason instanceof FetchError &&
      isAbort(error)
    )
      return this.#controller.signal.reason;
    return error instanceof FetchError ? error : networkError(error);
  }
}

function isAbort(error: unknown): boolean {
  return error instanceof FetchError || (error instanceof Error && error.name === 'AbortError');
}

async function follow(first: string, watch: Watch, limits: FetchLimits): Promise<Response> {
  let url = first;
  for (let count = 0; count <= limits.redirects; count += 1) {
    if (!/^https?:$/.test(protocolOf(url)))
      throw new FetchError(`it leads to ${url}, which is not http or https`);
    watch.expect(limits.connect, 'no answer');
    // Without this header a server may hand out a `.gz` file as a compressed form of what is inside, and fetch undoes it.
    const headers = { 'accept-encoding': 'identity', 'user-agent': 'quern' };
    const response = await fetch(url, { signal: watch.signal, redirect: 'manual', headers });
    const location = response.headers.get('location');
    if (response.status >= 300 && response.status < 400 && location !== null) {
      await response.body?.cancel();
      url = new URL(location, url).href;
      continue;
    }
    if (response.ok) return response;
    await response.body?.cancel();
    throw statusError(response);
  }
  throw new FetchError(`it redirects more than ${limits.redirects} times`);
}

function protocolOf(url: string): string {
  try {
    return new URL(url).protocol;
  } catch {
    throw new FetchError('it is no URL');
  }
}

function statusError({ status, statusText }: Response): FetchError {
  const transient = status === 408 || status === 429 || status >= 500;
  return new FetchError(`it answered ${status} ${statusText}`.trim(), { status, transient });
}

async function* readBody(response: Response, watch: Watch, limits: FetchLimits): AsyncGenerator<Uint8Array> {
  try {
    watch.expect(limits.stall, 'no byte');
    for await (const chunk of response.body ?? []) {
      // The consumer's time is not the server's.
      watch.pause();
      yield chunk;
      watch.expect(limits.stall, 'no byte');
    }
  } catch (error) {
    throw watch.explain(error);
  } finally {
    watch.stop();
  }
}

const causes: Readonly<Record<string, string>> = {
  ENOTFOUND: 'there is no host of that name',
  EAI_AGAIN: 'the host name could not be resolved',
  ECONNREFUSED: 'the connection was refused',
  ECONNRESET: 'the connection was reset',
  EHOSTUNREACH: 'the host cannot be reached',
  ENETUNREACH: 'the network cannot be reached',
  ETIMEDOUT: 'the connection timed out',
  UND_ERR_CONNECT_TIMEOUT: 'the connection timed out',
  UND_ERR_HEADERS_TIMEOUT: 'no answer came in time',
  UND_ERR_BODY_TIMEOUT: 'no byte came in time',
  UND_ERR_SOCKET: 'the connection broke off',
  UND_ERR_RES_CONTENT_LENGTH_MISMATCH: 'the content is not as long as announced',
  CERT_HAS_EXPIRED: 'its certificate has expired',
  DEPTH_ZERO_SELF_SIGNED_CERT: 'its certificate is self-signed',
  UNABLE_TO_VERIFY_LEAF_SIGNATURE: 'its certificate cannot be verified',
};

/** `fetch` says "fetch failed" or "terminated"; what happened is in the innermost cause. */
function networkError(error: unknown): FetchError {
  let inner = error;
  while (inner instanceof Error && inner.cause instanceof Error) inner = inner.cause;
  // A host with several addresses fails with one error for each of them.
  if (inner instanceof AggregateError && inner.errors[0] instanceof Error) inner = inner.errors[0];
  const code = inner instanceof Error && 'code' in inner ? String(inner.code) : '';
  const message = causes[code] ?? (inner instanceof Error ? inner.message : String(inner));
  return new FetchError(message, { transient: code !== 'ENOTFOUND', cause: error });
}
