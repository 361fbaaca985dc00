/** A signing key of our own, and texts signed with it: what a forger, a careless archive or an old one would hand out. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import * as openpgp from 'openpgp';

import type { ArchiveKey } from '../../src/source/debian-archive-keyring.ts';

export interface SigningKey {
  readonly publicKey: ArchiveKey;
  /** The text signed in place, as an `InRelease` is. */
  sign(text: string, date?: Date): Promise<string>;
}

export interface KeyShape {
  readonly made?: Date;
  /** Seconds after it was made. */
  readonly expires?: number;
}

export async function makeKey(name: string, { made, expires }: KeyShape = {}): Promise<SigningKey> {
  const { privateKey } = await openpgp.generateKey({
    type: 'ecc',
    userIDs: [{ name, email: 'archive@otter-bank.example' }],
    format: 'object',
    ...(made && { date: made }),
    ...(expires !== undefined && { keyExpirationTime: expires }),
  });
  const publicKey = privateKey.toPublic();
  return {
    publicKey: { fingerprint: publicKey.getFingerprint().toUpperCase(), armored: publicKey.armor() },
    sign: (text, date) => signWith([privateKey], text, date),
  };
}

async function signWith(keys: openpgp.PrivateKey[], text: string, date = new Date()): Promise<string> {
  const message = await openpgp.createCleartextMessage({ text });
  return openpgp.sign({ message, signingKeys: keys, date });
}

/** One text with the signatures of two: what `gpg --clearsign` makes with two keys. */
export async function joinSignatures(first: string, second: string): Promise<string> {
  const [one, two] = await Promise.all(
    [first, second].map(async (armored) => {
      const message = await openpgp.readCleartextMessage({ cleartextMessage: armored });
      // The public type does not show what the message keeps its signatures in.
      return message as openpgp.CleartextMessage & { signature: openpgp.Signature };
    }),
  );
  if (!one || !two) throw new Error('two texts');
  one.signature.packets.push(...two.signature.packets);
  return one.armor();
}

/** Whether gpgv finds a good signature by one of these keys: `gpgv --keyring` with nothing else around it. */
export async function gpgvAccepts(
  signed: string | Uint8Array,
  keys: readonly ArchiveKey[],
): Promise<boolean> {
  const folder = mkdtempSync(join(tmpdir(), 'quern-gpgv-'));
  try {
    const ring = join(folder, 'ring.gpg');
    const read = keys.map(({ armored }) => openpgp.readKey({ armoredKey: armored }));
    writeFileSync(ring, Buffer.concat((await Promise.all(read)).map((key) => key.write())));
    const file = join(folder, 'signed');
    writeFileSync(file, signed);
    const args = ['--homedir', folder, '--keyring', ring, '--status-fd', '1', '--output', '/dev/null', file];
    const { stdout, error } = spawnSync('gpgv', args, { encoding: 'utf8' });
    if (error) throw error;
    return stdout.includes('[GNUPG:] GOODSIG') || stdout.includes('[GNUPG:] VALIDSIG');
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
