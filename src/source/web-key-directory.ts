/**
 * Keys by address, from where the domain of the address publishes them (draft-koch-openpgp-webkey-service). Whether it is
 * the right key is told by its fingerprint, which the spec names; the directory is only a place to fetch it from.
 */
import { createHash } from 'node:crypto';

import { Failure } from '../diagnostics/catalogue.ts';
import { fetchBytes, type FetchBytesOptions } from '../host/fetch-bytes.ts';
import { FetchError } from '../host/fetch-error.ts';
import type { Host } from '../host/host.ts';
import { sourceCodes } from './codes.ts';
import type { KeyFile } from './signer-keys.ts';

/** A key with a few hundred certificates comes near this. */
const mostKey = 512 << 10;

/** Where the key of an address is published: by the advanced method, then by the direct one (section 3.1). */
export function keyUrls(address: string): readonly string[] {
  const at = address.lastIndexOf('@');
  const [local, domain] = [address.slice(0, at), address.slice(at + 1).toLowerCase()];
  const digest = createHash('sha1').update(local.toLowerCase()).digest();
  const path = `hu/${zBase32(digest)}?l=${encodeURIComponent(local)}`;
  return [
    `https://openpgpkey.${domain}/.well-known/openpgpkey/${domain}/${path}`,
    `https://${domain}/.well-known/openpgpkey/${path}`,
  ];
}

/** RFC 6189 section 5.1.6, of whole groups of five bytes: a SHA-1 has four of them. */
function zBase32(bytes: Uint8Array): string {
  const alphabet = 'ybndrfg8ejkmcpqxot1uwisza345h769';
  const bits = [...bytes].map((byte) => byte.toString(2).padStart(8, '0')).join('');
  return (bits.match(/.{5}/g) ?? []).map((five) => alphabet[Number.parseInt(five, 2)]).join('');
}

/** @throws Failure `source/key-unreachable` */
export async function fetchKey(
  host: Host,
  address: string,
  options: FetchBytesOptions = {},
): Promise<KeyFile> {
  const notes: string[] = [];
  for (const url of keyUrls(address)) {
    try {
      const { bytes } = await fetchBytes(host, url, mostKey, options);
      return { name: `the directory's key of ${address}`, bytes };
    } catch (error) {
      if (!(error instanceof FetchError)) throw error;
      notes.push(`${url}: ${error.message}`);
    }
  }
  throw new Failure(
    sourceCodes.report('source/key-unreachable', {
      message: `the key of ${address} cannot be fetched`,
      notes,
      help: 'Check the network, or put the key into a file beside the spec and name that (keyring).',
    }),
  );
}
