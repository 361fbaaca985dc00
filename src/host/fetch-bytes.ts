import { FetchError } from './fetch-error.ts';
import { defaultFetchLimits, fetchUrl, type FetchLimits } from './fetch-url.ts';
import type { Host } from './host.ts';
import { applyMirrors } from './mirrors.ts';
import { networkOf } from './network.ts';
import { defaultPauses, withRetries } from './retry.ts';

export interface FetchBytesOptions {
  readonly limits?: FetchLimits;
  readonly pauses?: readonly number[];
}

/**
 * Fetches a small file whose digest nobody knows beforehand: a signed index.
 * @param most bytes that it may have
 * @returns its content, and the URL that it came from after the machine's mirrors were applied
 * @throws FetchError
 */
export async function fetchBytes(
  host: Host,
  url: string,
  most: number,
  { limits = defaultFetchLimits, pauses = defaultPauses }: FetchBytesOptions = {},
): Promise<{ readonly url: string; readonly bytes: Uint8Array }> {
  const place = applyMirrors(url, networkOf(host).mirrors);
  const bytes = await withRetries(host.signal, pauses, () => readAll(host, place, most, limits));
  return { url: place, bytes };
}

async function readAll(host: Host, url: string, most: number, limits: FetchLimits): Promise<Uint8Array> {
  const fetched = await fetchUrl(host, url, limits);
  try {
    const chunks: Uint8Array[] = [];
    let size = 0;
    for await (const chunk of fetched.chunks) {
      size += chunk.length;
      if (size > most) throw new FetchError(`it has more than the ${most} bytes that are reasonable`);
      chunks.push(chunk);
    }
    return Buffer.concat(chunks);
  } finally {
    fetched.close();
  }
}
