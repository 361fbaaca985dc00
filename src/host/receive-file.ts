/** Brings what a URL has into the store, over breaks of the connection. */
import { Failure } from '../diagnostics/catalogue.ts';
import { fetchCodes } from './fetch-codes.ts';
import { FetchError } from './fetch-error.ts';
import {
  defaultFetchLimits,
  fetchUrl,
  type ExtraHeaders,
  type Fetched,
  type FetchLimits,
  type Rest,
} from './fetch-url.ts';
import type { Host } from './host.ts';
import type { Incoming } from './incoming.ts';
import { defaultPauses, withRetries } from './retry.ts';

export interface ReceiveOptions {
  readonly limits?: FetchLimits;
  /** Milliseconds to wait before each further try of a URL whose failure may pass. */
  readonly pauses?: readonly number[];
  /** What each request says beyond what every request does, asked for before it. */
  readonly headers?: () => Promise<ExtraHeaders>;
  /** Told how many bytes more have come, and of how many; a negative number takes back what is of no use. */
  readonly onBytes?: (count: number, total: number | undefined) => void;
}

/** What a URL is to bring, where that is known. */
interface Expected {
  /** Bytes. */
  readonly size?: number;
  /** What comes is compared with a digest, so that its parts may be of any answer. */
  readonly pinned: boolean;
}

/**
 * Receives a file. A try that breaks off is followed by one for the rest of it, if the server tells versions of a file
 * apart or the whole is compared with a digest in the end.
 *
 * @param url after the machine's mirrors were applied
 * @returns whether the file is put together of several answers
 * @throws FetchError; Failure `host/wrong-size`, `host/not-the-file`; what `incoming` throws; the reason of `host.signal`
 */
export async function receiveFile(
  host: Pick<Host, 'env' | 'signal'>,
  url: string,
  incoming: Incoming,
  expected: Expected,
  options: ReceiveOptions,
): Promise<{ readonly joined: boolean }> {
  const { limits = defaultFetchLimits, pauses = defaultPauses, onBytes = () => undefined } = options;
  let version: string | undefined;
  let joined = false;
  const forget = async (): Promise<void> => {
    onBytes(-incoming.size, expected.size);
    await incoming.restart();
    joined = false;
  };
  await withRetries(host.signal, pauses, async () => {
    if (incoming.size > 0 && version === undefined && !expected.pinned) await forget();
    const rest = incoming.size > 0 ? { from: incoming.size, version } : undefined;
    const fetched = await ask(host, url, limits, rest, await options.headers?.());
    try {
      if (fetched.from < incoming.size) await forget();
      // not every server looks at If-Range; a part of another version must not follow (RFC 9110 section 15.3.7.3)
      if (fetched.from > 0 && !expected.pinned && fetched.version !== version) {
        await forget();
        throw new FetchError('it hands out a part of another version of the file', { transient: true });
      }
      joined ||= fetched.from > 0;
      ({ version } = fetched);
      await readInto(incoming, fetched, expected, onBytes);
    } finally {
      fetched.close();
    }
  }).catch((error: unknown) => {
    onBytes(-incoming.size, expected.size);
    throw error;
  });
  return { joined };
}

async function ask(
  host: Pick<Host, 'env' | 'signal'>,
  url: string,
  limits: FetchLimits,
  rest: Rest | undefined,
  extra: ExtraHeaders | undefined,
): Promise<Fetched> {
  try {
    return await fetchUrl(host, url, limits, rest, extra);
  } catch (error) {
    // there is no such rest: the file has become shorter (RFC 9110 section 15.5.17)
    if (rest && error instanceof FetchError && error.status === 416)
      return fetchUrl(host, url, limits, undefined, extra);
    throw error;
  }
}

async function readInto(
  incoming: Incoming,
  { chunks, length, mediaType }: Fetched,
  { size }: Expected,
  onBytes: (count: number, total: number | undefined) => void,
): Promise<void> {
  if (size !== undefined && length !== undefined && length !== size) {
    throw mediaType === 'text/html' ? webPage() : wrongSize(`it has ${length} bytes instead of ${size}`);
  }
  const total = size ?? length;
  if (total !== undefined && total > incoming.most)
    throw wrongSize(`it has ${total} bytes, and ${incoming.most} are the most that is reasonable`);
  try {
    for await (const chunk of chunks) {
      if (incoming.size === 0 && isWebPage(chunk)) throw webPage();
      await incoming.append(chunk);
      onBytes(chunk.length, total);
    }
  } catch (error) {
    if (!(error instanceof FetchError)) throw error;
    const { transient } = error;
    const so = `after ${incoming.size}${total === undefined ? '' : ` of ${total}`} bytes`;
    throw new FetchError(`${error.message} ${so}`, { transient, cause: error });
  }
  if (total === undefined || incoming.size >= total) return;
  // Content of unannounced length that ends too early may be a connection that broke off: worth another try.
  if (incoming.size > 0)
    throw new FetchError(`it ended after ${incoming.size} of ${total} bytes`, { transient: true });
  throw wrongSize(`it is empty, and not of ${total} bytes`);
}

/** By what it begins with: servers call it text/html or not, and answer with 200 all the same. */
function isWebPage(chunk: Uint8Array): boolean {
  const head = Buffer.from(chunk.subarray(0, 512)).toString('latin1');
  return /^(?:\xef\xbb\xbf)?\s*(?:<!--[\s\S]*?-->\s*)?<(?:!doctype\s+html|html|head)[\s>]/i.test(head);
}

function webPage(): Failure {
  const message = 'it is a web page, and not the file: the page of a login, of a portal or of an error';
  return new Failure(fetchCodes.report('host/not-the-file', { message }));
}

function wrongSize(message: string): Failure {
  return new Failure(fetchCodes.report('host/wrong-size', { message }));
}
