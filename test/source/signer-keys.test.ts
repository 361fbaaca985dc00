/** Keys that were revoked after they signed, and copies of one key. RFC 9580 section 5.2.3.31 has the reasons to revoke. */
import * as openpgp from 'openpgp';
import { expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { readDetached, verifyDetached } from '../../src/source/detached-signature.ts';
import { keysOf, mergeCopies, readKeyFile } from '../../src/source/signer-keys.ts';

const born = new Date('2020-01-01');
const signedOn = new Date('2020-06-01');
const revokedOn = new Date('2020-09-01');
const now = new Date('2026-11-26');
const year = 366 * 24 * 3600;
const content = new TextEncoder().encode('level 4.20 m at the otter bank\n');

const made = async (expires: number): Promise<openpgp.PrivateKey> =>
  (
    await openpgp.generateKey({
      type: 'ecc',
      userIDs: [{ name: 'Otter Bank releases', email: 'releases@otter-bank.example' }],
      date: born,
      keyExpirationTime: expires,
      subkeys: [{ sign: true, keyExpirationTime: 0 }],
      format: 'object',
    })
  ).privateKey;

const signature = async (key: openpgp.PrivateKey): Promise<Uint8Array> =>
  openpgp.sign({
    message: await openpgp.createMessage({ binary: content }),
    signingKeys: key,
    detached: true,
    format: 'binary',
    date: signedOn,
  });

/** The code of the failure, or `good`. */
async function judged(bytes: Uint8Array, keyring: string, signer: string): Promise<string> {
  const keys = await readKeyFile({ name: 'keys.asc', bytes: new TextEncoder().encode(keyring) });
  const accepted = keysOf([signer], await mergeCopies(keys), ['keys.asc']);
  const read = async function* (): AsyncGenerator<Uint8Array> {
    yield content;
  };
  try {
    const found = await readDetached({ bytes, name: 'linux.tar.sign' }, 'linux.tar', accepted, now);
    await verifyDetached(found, { name: 'linux.tar', tar: read, file: read }, now);
    return 'good';
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    return error.diagnostics[0]?.code ?? '';
  }
}

it.each(['keyRetired', 'keySuperseded', 'keyCompromised'] as const)(
  'a signing subkey that was revoked (%s) counts for nothing, also where its key has expired',
  async (flag) => {
    const key = await made(year);
    const bytes = await signature(key);
    const pub = key.toPublic();
    const fingerprint = pub.getFingerprint().toUpperCase();
    expect(await judged(bytes, pub.armor(), fingerprint)).toBe('good');
    const [subkey] = key.subkeys;
    const reason = { flag: openpgp.enums.reasonForRevocation[flag], string: '' };
    if (!(key.keyPacket instanceof openpgp.SecretKeyPacket)) throw new Error('no secret key was made');
    const gone = await subkey?.revoke(key.keyPacket, reason, revokedOn);
    const revoked = await openpgp.readKey({ armoredKey: pub.armor() });
    revoked.subkeys[0]?.revocationSignatures.push(...(gone?.revocationSignatures.slice(-1) ?? []));
    expect(await judged(bytes, revoked.armor(), fingerprint)).toBe('source/key-revoked');
  },
);

it('copies of one key count together, in whatever order they are in', async () => {
  const key = await made(0);
  const bytes = await signature(key);
  const pub = key.toPublic();
  const fingerprint = pub.getFingerprint().toUpperCase();
  const revoked = await openpgp
    .revokeKey({ key, date: revokedOn, format: 'object' })
    .then(({ publicKey }) => publicKey.armor());
  expect(await judged(bytes, pub.armor(), fingerprint)).toBe('good');
  for (const keyring of [pub.armor() + revoked, revoked + pub.armor()])
    expect(await judged(bytes, keyring, fingerprint)).toBe('source/key-revoked');
});
