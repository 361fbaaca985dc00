/** Keys that releases are signed with, in every state that a key can be in. */
import * as openpgp from 'openpgp';

import { Gnupg } from './release-server.ts';

export interface ReleaseKey {
  readonly fingerprint: string;
  /** The public key, as it is published. */
  readonly armored: string;
  binary(): Promise<Uint8Array>;
  secret(): Promise<string>;
  /** Detached, binary. */
  sign(content: Uint8Array, date?: Date): Promise<Uint8Array>;
  clearsign(text: string): Promise<string>;
  /** Fingerprint of its first subkey. */
  subkey(): Promise<string>;
}

const long = new Date('2020-01-01T00:00:00Z');

/** @param published another state of the key than the one that signs */
function releaseKey(signing: openpgp.PrivateKey, published: openpgp.Key = signing): ReleaseKey {
  const shown = published.toPublic();
  return {
    fingerprint: signing.getFingerprint().toUpperCase(),
    armored: shown.armor(),
    binary: async () => shown.write(),
    secret: async () => signing.armor(),
    sign: async (content, date = new Date()) => {
      const message = await openpgp.createMessage({ binary: content });
      return openpgp.sign({ message, signingKeys: signing, date, detached: true, format: 'binary' });
    },
    clearsign: async (text) => {
      const message = await openpgp.createCleartextMessage({ text });
      return openpgp.sign({ message, signingKeys: signing });
    },
    subkey: async () => signing.getSubkeys()[0]?.getFingerprint().toUpperCase() ?? '',
  };
}

async function generate(
  subkeys: readonly { sign: true }[] = [],
  date = new Date(),
): Promise<openpgp.PrivateKey> {
  const { privateKey } = await openpgp.generateKey({
    type: 'ecc',
    userIDs: [{ name: 'Otter Bank releases', email: 'releases@otter-bank.example' }],
    subkeys: [...subkeys],
    date,
    format: 'object',
  });
  return privateKey;
}

/** The same key with other words of its owner: it was good for ten days only. */
async function endedEarly(key: openpgp.PrivateKey): Promise<openpgp.PrivateKey> {
  const { privateKey } = await openpgp.reformatKey({
    privateKey: key,
    userIDs: [{ name: 'Otter Bank releases', email: 'releases@otter-bank.example' }],
    keyExpirationTime: 10 * 24 * 3600,
    date: long,
    format: 'object',
  });
  return privateKey;
}

async function withRevokedSubkey(key: openpgp.PrivateKey): Promise<openpgp.PrivateKey> {
  const copy = await openpgp.readPrivateKey({ binaryKey: key.write() });
  const [subkey] = copy.subkeys;
  if (!subkey) throw new Error('a key with a subkey');
  const { primaryKey } = { primaryKey: copy.keyPacket };
  copy.subkeys[0] = await subkey.revoke(primaryKey as openpgp.SecretKeyPacket, {
    flag: openpgp.enums.reasonForRevocation.keyCompromised,
  });
  return copy;
}

export async function signingKeys(): Promise<{
  readonly otter: ReleaseKey;
  readonly heron: ReleaseKey;
  /** Has signed when it had expired. */
  readonly late: ReleaseKey;
  /** Has expired after it signed, at `expiredWasGood`. */
  readonly expired: ReleaseKey;
  readonly expiredWasGood: Date;
  readonly revoked: ReleaseKey;
  readonly withSubkey: ReleaseKey;
  readonly subkeyRevoked: ReleaseKey;
  /** GnuPG's own. */
  readonly gpg: ReleaseKey;
  gpgSign(content: Uint8Array, ...options: readonly string[]): Promise<Uint8Array>;
  gpgExport(key: ReleaseKey): Buffer;
  /** What stands for an address in a key directory. */
  wkdHash(address: string): string;
  /** A signature of a key over its own name. */
  certification(): Promise<Uint8Array>;
  remove(): void;
}> {
  const [otter, heron, old, revoked, withSubkey] = await Promise.all([
    generate(),
    generate(),
    generate([], long),
    generate(),
    generate([{ sign: true }]),
  ]);
  const early = await endedEarly(old);
  const { privateKey: dead } = await openpgp.revokeKey({
    key: revoked,
    reasonForRevocation: { flag: openpgp.enums.reasonForRevocation.keyCompromised },
    format: 'object',
  });
  const gnupg = new Gnupg();
  const address = 'gpg@otter-bank.example';
  const fingerprint = gnupg.makeKey(address);
  const armored = gnupg.run(['--export', '--armor', fingerprint]).toString();
  return {
    otter: releaseKey(otter),
    heron: releaseKey(heron),
    late: releaseKey(old, early),
    expired: releaseKey(early),
    expiredWasGood: new Date('2020-01-02T00:00:00Z'),
    revoked: releaseKey(revoked, dead),
    withSubkey: releaseKey(withSubkey),
    subkeyRevoked: releaseKey(withSubkey, await withRevokedSubkey(withSubkey)),
    gpg: {
      ...releaseKey(otter),
      fingerprint,
      armored,
      binary: async () => gnupg.run(['--export', fingerprint]),
    },
    gpgSign: async (content, ...options) =>
      gnupg.run(['--local-user', fingerprint, ...options, '--detach-sign', '--output', '-'], content),
    gpgExport: (key) => {
      gnupg.run(['--import'], Buffer.from(key.armored));
      return gnupg.run(['--export', '--armor', key.fingerprint]);
    },
    wkdHash: (name) => {
      gnupg.run(['--import'], Buffer.from(otter.toPublic().armor()));
      const listed = gnupg.run(['--with-wkd-hash', '--list-keys', name]).toString();
      return /^\s+([a-z0-9]{32})@/mu.exec(listed)?.[1] ?? '';
    },
    certification: async () => {
      const packets = otter.users.flatMap((user) => user.selfCertifications);
      const list = new openpgp.PacketList<openpgp.SignaturePacket>();
      list.push(...packets);
      return new openpgp.Signature(list).write() as Uint8Array;
    },
    remove: () => gnupg.remove(),
  };
}
