/** The keys that there are for a source: out of a file beside the spec, and from where their owners publish them. */
import { readFile } from 'node:fs/promises';
import type { Key } from 'openpgp';

import { Failure } from '../diagnostics/catalogue.ts';
import { digestOf } from '../host/digest-file.ts';
import type { ReceiveOptions } from '../host/receive-file.ts';
import type { Host } from '../host/host.ts';
import type { FilePin, KeyPin } from '../spec/lock.ts';
import type { Signers } from '../spec/spec.ts';
import { sourceCodes } from './codes.ts';
import type { Locate } from './locate.ts';
import { keysOf, mergeCopies, readKeyFile, type KeyFile } from './signer-keys.ts';
import { fetchKey } from './web-key-directory.ts';

export interface Ring {
  readonly keys: readonly Key[];
  readonly fetched: readonly KeyPin[];
  readonly keyring: FilePin | undefined;
}

/**
 * All keys that there are, whether they are of signers or not.
 *
 * @param wanted fingerprints whose keys must be among them
 * @param known keys that were fetched before, and need not be again
 * @param locate says where a path of the spec is on this machine, or refuses it
 * @throws Failure `source/no-key`, `source/bad-keyring`, `source/key-unreachable`
 */
export async function gatherKeys(
  host: Host,
  { keyring, keys: addresses }: Signers,
  wanted: readonly string[],
  known: readonly KeyPin[],
  locate: Locate,
  options: ReceiveOptions,
): Promise<Ring> {
  const file = keyring === undefined ? undefined : await readKeyring(keyring, locate);
  const fetched: KeyPin[] = [];
  const copies: Key[] = file ? [...(await readKeyFile(file))] : [];
  for (const address of addresses) {
    const pin = known.find((one) => one.address === address && wanted.includes(one.fingerprint));
    const found: KeyFile = pin
      ? { name: `the lock's key of ${address}`, bytes: Buffer.from(pin.content, 'base64') }
      : await fetchKey(host, address, options);
    const all = await readKeyFile(found);
    const fingerprint = all
      .map((key) => key.getFingerprint().toUpperCase())
      .find((one) => wanted.includes(one));
    if (fingerprint === undefined) throw strangeKey(address, all, wanted);
    copies.push(...all);
    fetched.push({
      address,
      fingerprint,
      sha256: digestOf(found.bytes),
      content: Buffer.from(found.bytes).toString('base64'),
    });
  }
  const names = [...(keyring === undefined ? [] : [keyring]), ...addresses.map((one) => `the key of ${one}`)];
  const keys = await mergeCopies(copies);
  // said before anything is fetched
  keysOf(wanted, keys, names);
  return {
    keys,
    fetched,
    keyring: file && keyring !== undefined ? { path: keyring, sha256: digestOf(file.bytes) } : undefined,
  };
}

async function readKeyring(path: string, locate: Locate): Promise<KeyFile> {
  return { name: path, bytes: await readFile(await locate(path, 'file')) };
}

function strangeKey(address: string, keys: readonly Key[], wanted: readonly string[]): Failure {
  const there = keys.map((key) => key.getFingerprint().toUpperCase()).join(', ');
  return new Failure(
    sourceCodes.report('source/no-key', {
      message: `the key that the domain of ${address} publishes is that of no signer`,
      notes: [`It is ${there || 'none'}.`, `The signers are ${wanted.join(', ')}.`],
      help: 'Find out from elsewhere whether the owner has a new key; only then name its fingerprint among the signers.',
    }),
  );
}
