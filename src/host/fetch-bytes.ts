import { FetchError } from './fetch-error.ts';
import { defaultFetchLimits, fetchUrl, type ExtraHeaders, type FetchLimits } from './fetch-url.ts';
import type { Host } from './host.ts';
import { applyMirrors } from './mirrors.ts';
import { networkOf } from './network.ts';
import { defaultPauses, withRetries } from './retry.ts';

export interface FetchBytesOptions {
  readonly limits?: FetchLimits;
  readonly pauses?: readonly number[];
}

/** There is more of it than a reader takes. */
export class TooLongError extends FetchError {}

export interface FetchedBytes {
  /** Where it came from, after the machine's mirrors were applied. */
  readonly url: string;
  readonly bytes: Uint8Array;
  readonly mediaType: string;
  /** What a registry says that the digest is. */
  readonly digest?: string;
}

/**
 * Fetches a small file whose digest nobody knows beforehand: a signed index.
 * @param most bytes that it may have
 * @throws FetchError
 */
export async function fetchBytes(
  host: Host,
  url: string,
  most: number,
  { limits = defaultFetchLimits, pauses = defaultPauses }: FetchBytesOptions = {},
  extra: ExtraHeaders = {},
): Promise<FetchedBytes> {
  const place = applyMirrors(url, networkOf(host).mirrors);
  return await withRetries(host.signal, pauses, () => readAll(host, place, most, limits, extra));
}

async function readAll(
  host: Host,
  url: string,
  most: number,
  limits: FetchLimits,
  extra: ExtraHeaders,
): Promise<FetchedBytes> {
  const fetched = await fetchUrl(host, url, limits, undefined, extra);
  try {
    const chunks: Uint8Array[] = [];
    let size = 0;
    for await (const chunk of fetched.chunks) {
      size += chunk.length;
      if (size > most) throw new TooLongError(`it has more than the ${most} bytes that are reasonable`);
      chunks.push(chunk);
    }
    const { mediaType, digest } = fetched;
    return { url, bytes: Buffer.concat(chunks), mediaType, ...(digest !== undefined && { digest }) };
  } finally {
    fetched.close();
  }
}
