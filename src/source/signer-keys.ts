/** The keys of the signers that a spec names, out of what people keep keys in. */
import type { Key } from 'openpgp';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { sourceCodes } from './codes.ts';

/** Bytes with keys, and what messages call them. */
export interface KeyFile {
  readonly name: string;
  readonly bytes: Uint8Array;
}

const armoredBlock = /-----BEGIN PGP PUBLIC KEY BLOCK-----[\s\S]*?-----END PGP PUBLIC KEY BLOCK-----/g;

/**
 * All keys of a file: armored, of which there may be several one after the other, or binary.
 * @throws Failure `source/bad-keyring`
 */
export async function readKeyFile({ name, bytes }: KeyFile): Promise<readonly Key[]> {
  const openpgp = await import('openpgp');
  const text = new TextDecoder('latin1').decode(bytes);
  if (text.includes('BEGIN PGP PRIVATE KEY')) throw badKeyring(name, 'it holds a private key', privateAdvice);
  // where GnuPG keeps keys itself (doc/ of GnuPG, keybox-blob.c)
  if (text.slice(8, 12) === 'KBXf') throw badKeyring(name, "it is a keybox of GnuPG's own", exportAdvice);
  const blocks = text.match(armoredBlock);
  try {
    const keys = blocks
      ? (await Promise.all(blocks.map((armoredKeys) => openpgp.readKeys({ armoredKeys })))).flat()
      : await openpgp.readKeys({ binaryKeys: bytes });
    if (keys.some((key) => key.isPrivate())) throw badKeyring(name, 'it holds a private key', privateAdvice);
    return keys;
  } catch (error) {
    if (error instanceof Failure) throw error;
    throw badKeyring(name, 'it holds no OpenPGP keys that can be read', exportAdvice, error);
  }
}

const privateAdvice =
  'Take it away from there, and think of it as lost; signatures are verified with public keys alone.';
const exportAdvice = 'Export the keys: gpg --export --armor FINGERPRINT… >keys.asc.';

function badKeyring(name: string, why: string, help: string, cause?: unknown): Failure {
  return new Failure(
    sourceCodes.report('source/bad-keyring', {
      message: `${quoted(name, 160)} cannot be used as a keyring: ${why}`,
      help,
    }),
    { cause },
  );
}

/**
 * One key for each fingerprint, with all that its copies say: who appends a newer copy of a key to a keyring has the older
 * one in it as well, which need not know that the key was revoked, or lives longer.
 */
export async function mergeCopies(keys: readonly Key[]): Promise<readonly Key[]> {
  const merged = new Map<string, Key>();
  for (const key of keys) {
    const print = fingerprintOf(key);
    const copy = merged.get(print);
    merged.set(print, copy ? await copy.update(key) : key);
  }
  return [...merged.values()];
}

/**
 * The keys with these fingerprints, in their order.
 * @param signers full fingerprints in upper case
 * @param names of where the keys are from
 * @throws Failure `source/no-key`
 */
export function keysOf(
  signers: readonly string[],
  keys: readonly Key[],
  names: readonly string[],
): readonly Key[] {
  const found = signers.map((signer) => keys.find((key) => fingerprintOf(key) === signer));
  const missing = signers.filter((_, nth) => !found[nth]);
  if (missing.length === 0) return found.filter((key) => key !== undefined);
  const notes = missing.flatMap((signer) => {
    const owner = keys.find((key) => key.getSubkeys().some((subkey) => fingerprintOf(subkey) === signer));
    return owner
      ? [`${signer} is a subkey of ${fingerprintOf(owner)}: a signer is named by the primary key.`]
      : [];
  });
  const where = names.map((name) => quoted(name, 160)).join(', ');
  throw new Failure(
    sourceCodes.report('source/no-key', {
      message: `there is no key of the signer ${missing.join(', ')} in ${where}`,
      notes: [...notes, `There are: ${keys.map(fingerprintOf).slice(0, 20).join(', ') || 'none'}.`],
      help: 'Put the key there (gpg --export --armor FINGERPRINT), or correct the fingerprint among the signers.',
    }),
  );
}

function fingerprintOf(key: Pick<Key, 'getFingerprint'>): string {
  return key.getFingerprint().toUpperCase();
}
