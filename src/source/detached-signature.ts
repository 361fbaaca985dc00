/**
 * Verifies a signature that lies beside a file (RFC 9580 section 10.4), while the file streams by: a kernel's tar does not
 * fit into memory everywhere.
 *
 * One good signature by an accepted key is enough. A key must have been good when it signed, by the signature's own date;
 * that one has expired since is a warning, as releases stay what they are and their keys do not. A key that was revoked
 * counts for nothing any more, whenever it signed: the date is written by whoever has the key.
 */
import type { Key, KeyID, SignaturePacket, Subkey } from 'openpgp';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { sourceCodes } from './codes.ts';
import {
  faultOf,
  noGoodSignature,
  type FaultCode,
  type RefusedSignature,
  type SignatureFault,
} from './signature-faults.ts';

export interface DetachedSignature {
  readonly bytes: Uint8Array;
  /** How messages call it: its URL or path. */
  readonly name: string;
}

/** The file that is signed, to be read from its beginning each time. */
export interface SignedContent {
  readonly name: string;
  readonly tar: () => AsyncIterable<Uint8Array>;
  /** As it was fetched; the same when it is not compressed. */
  readonly file: () => AsyncIterable<Uint8Array>;
}

export interface GoodSignature {
  /** Full fingerprint of the signer's primary key. */
  readonly signer: string;
  readonly made: Date;
  /** The key has expired after it signed. */
  readonly expiredSince: boolean;
}

/** More of them by accepted keys are nobody's honest work, and each takes a pass over the file. */
const mostTried = 4;

const advice: Readonly<Record<FaultCode, string>> = {
  'source/altered':
    'It was changed, or is another file than the one that was signed: fetch it from another place, and do not build from it.',
  'source/wrong-stream':
    'Kernel releases are signed over the uncompressed tar, so that one signature serves all compressions: take the signature that belongs to it (.tar.sign).',
  'source/key-revoked':
    'Find out why it was revoked and with which key releases are signed now; then name that one among the signers, with its key.',
  'source/key-expired':
    'If its owner has given it more time since, fetch the key anew; else the signature was made with a key that no longer counted.',
  'source/weak-signature': 'Ask the signer for a signature with SHA-256 or better, and a key of today.',
  'source/signature-refused': "See what is said of it above; check this machine's clock, too.",
  'source/wrong-key':
    'Name the full fingerprint of whoever signs it among the signers, once you know from elsewhere that it is theirs.',
};

/** A signature by a key that counts; whether it is over the file is not known yet. */
interface Candidate {
  readonly keyId: string;
  readonly packet: SignaturePacket;
  /** The primary key or subkey that signed. */
  readonly signing: Key | Subkey;
  readonly good: GoodSignature;
}

/** The signatures of a file, read and found to be by keys that count. */
export interface Candidates {
  readonly candidates: readonly Candidate[];
  readonly refused: readonly RefusedSignature[];
  readonly accepted: readonly string[];
}

/**
 * Reads a signature, and says what can be said before gigabytes are fetched and read for it.
 * @param of what messages call the file that is signed
 * @param keys the keys of the accepted signers
 * @param now the time by which keys are expired or not
 * @throws Failure `source/bad-signature-form`, or one of `FaultCode` when no signature is left that could count
 */
export async function readDetached(
  signature: DetachedSignature,
  of: string,
  keys: readonly Key[],
  now: Date,
): Promise<Candidates> {
  const accepted = keys.map(fingerprintOf);
  const refused: RefusedSignature[] = [];
  const candidates: Candidate[] = [];
  for (const packet of await readSignatures(signature)) {
    const keyId = packet.issuerKeyID.toHex().toUpperCase();
    const holders = keys.filter((key) => key.getKeys(packet.issuerKeyID).length > 0);
    if (holders.length === 0) {
      refused.push({ keyId, fault: { code: 'source/wrong-key', why: 'not by one of the accepted signers' } });
    }
    for (const key of holders) {
      try {
        candidates.push({ keyId, packet, ...(await signingKey(key, packet, now)) });
      } catch (error) {
        refused.push({ keyId, fault: faultOf(error) });
      }
    }
  }
  if (candidates.length === 0) throw noGoodSignature(of, accepted, refused, advice);
  if (candidates.length > mostTried)
    throw badForm(signature.name, `it has more than ${mostTried} signatures to try`);
  return { candidates, refused, accepted };
}

/**
 * @returns the first signature that is over the content
 * @throws Failure one of `FaultCode`; what reading the content throws
 */
export async function verifyDetached(
  { candidates, refused, accepted }: Candidates,
  content: SignedContent,
  now: Date,
): Promise<GoodSignature> {
  const faults = [...refused];
  for (const { keyId, packet, signing, good } of candidates) {
    const fault = await faultOver(packet, signing, content, now);
    if (!fault) return good;
    faults.push({ keyId, fault });
  }
  throw noGoodSignature(content.name, accepted, faults, advice);
}

/** What is told of a good signature whose key has expired since. @param name of what is signed */
export function expiredSince(name: string, { signer, made }: GoodSignature): Diagnostic {
  return sourceCodes.report('source/key-expired-since', {
    message: `the key that ${name} is signed with has expired since`,
    notes: [`It is ${signer}, and signed on ${formatDate(made)}, by its own word.`],
    help: 'If its owner has given it more time, fetch the key anew; with one that was given up, be careful.',
  });
}

/** RFC 3339 in UTC, to the second. */
export function formatDate(date: Date): string {
  return date.toISOString().replace(/\.\d+Z$/, 'Z');
}

async function readSignatures({ bytes, name }: DetachedSignature): Promise<readonly SignaturePacket[]> {
  const openpgp = await import('openpgp');
  // The first bit of a packet is set (RFC 9580 section 4.2); armor is ASCII.
  const isBinary = ((bytes[0] ?? 0) & 0x80) !== 0;
  const read = isBinary
    ? openpgp.readSignature({ binarySignature: bytes })
    : openpgp.readSignature({ armoredSignature: new TextDecoder('latin1').decode(bytes) });
  const { packets } = await read.catch((error: unknown) => {
    const page = /^\s*<(?:!doctype|html)/i.test(new TextDecoder('latin1').decode(bytes.subarray(0, 512)));
    throw badForm(name, page ? 'it is a web page' : 'it cannot be read', error);
  });
  const signatures = [...packets].filter((packet) => packet instanceof openpgp.SignaturePacket);
  const { binary, text } = openpgp.enums.signature;
  // one over a key or a name, moved here, says nothing of a file; and one over a text leaves the line ends open
  const ofFiles = signatures.filter(({ signatureType }) => signatureType === binary);
  if (ofFiles.length > 0) return ofFiles;
  if (signatures.length === 0) throw badForm(name, 'it has no signature that can be read');
  const overText = signatures.some(({ signatureType }) => signatureType === text);
  throw badForm(
    name,
    overText ? 'it is over a text, and not over the bytes of a file' : 'it is not over a file',
  );
}

function badForm(name: string, why: string, cause?: unknown): Failure {
  return new Failure(
    sourceCodes.report('source/bad-signature-form', {
      message: `${name} is no signature that can be used: ${why}`,
      help: 'Take the signature that was published with the file, armored or binary.',
    }),
    { cause },
  );
}

/** The key that signed, as it stands; rejects when it does not count. */
async function signingKey(
  key: Key,
  { issuerKeyID, created, hashAlgorithm }: SignaturePacket,
  now: Date,
): Promise<Pick<Candidate, 'signing' | 'good'>> {
  const { config, enums } = await import('openpgp');
  if (hashAlgorithm === null || config.rejectMessageHashAlgorithms.has(hashAlgorithm)) {
    const [name = 'unknown'] = Object.entries(enums.hash).find(([, id]) => id === hashAlgorithm) ?? [];
    throw new Error(`Insecure hash algorithm: ${name.toUpperCase()}`);
  }
  if (!created) throw new Error('the signature has no date');
  const { signing, expiredSince } = await keyThatCounts(key, issuerKeyID, created, now);
  return { signing, good: { signer: fingerprintOf(key), made: created, expiredSince } };
}

function fingerprintOf(key: Key): string {
  return key.getFingerprint().toUpperCase();
}

/** Why the signature is not over the content; nothing when it is. */
async function faultOver(
  packet: SignaturePacket,
  signing: Key | Subkey,
  content: SignedContent,
  now: Date,
): Promise<SignatureFault | undefined> {
  try {
    await verifyOver(packet, signing, content.tar, now);
    return undefined;
  } catch (error) {
    if (error instanceof UnreadableContent) throw error.cause;
    const fault = faultOf(error);
    if (fault.code !== 'source/altered' || !(await isOver(packet, signing, content.file, now))) return fault;
    return { code: 'source/wrong-stream', why: 'good over the compressed file' };
  }
}

interface CountingKey {
  /** The very one that was looked at: an ID may be that of another, which nobody has bound to the key. */
  readonly signing: Key | Subkey;
  /** It has expired after it signed. */
  readonly expiredSince: boolean;
}

/** Rejects when the key does not count. */
async function keyThatCounts(key: Key, keyId: KeyID, made: Date, now: Date): Promise<CountingKey> {
  try {
    return { signing: await key.getSigningKey(keyId, now), expiredSince: false };
  } catch (error) {
    if (faultOf(error).code !== 'source/key-expired') throw error;
    const signing = await key.getSigningKey(keyId, made);
    // for a key that has expired nobody has looked at what was revoked since
    if (await isRevoked(key, signing, now)) throw new Error('Signing key is revoked', { cause: error });
    return { signing, expiredSince: true };
  }
}

async function isRevoked(key: Key, signing: Key | Subkey, now: Date): Promise<boolean> {
  if (await key.isRevoked(undefined, undefined, now)) return true;
  if (!('mainKey' in signing)) return false;
  const [binding] = signing.bindingSignatures;
  return binding !== undefined && signing.isRevoked(binding, key.keyPacket, now);
}

/** An error of what is read, among those of the library, which are about the signature. */
class UnreadableContent extends Error {}

async function verifyOver(
  packet: SignaturePacket,
  { keyPacket }: Key | Subkey,
  read: () => AsyncIterable<Uint8Array>,
  now: Date,
): Promise<void> {
  const { signatureType } = packet;
  if (signatureType === null) throw new Error('the signature has no type');
  let unreadable: UnreadableContent | undefined;
  const stream = streamOf(read(), (error) => {
    unreadable = new UnreadableContent('the content cannot be read', { cause: error });
  });
  // In the place of a literal data packet, which would keep all that goes by.
  const data = { text: null, getBytes: () => stream };
  try {
    await packet.verify(keyPacket, signatureType, data, now, true);
  } catch (error) {
    throw unreadable ?? error;
  } finally {
    if (!stream.locked) await stream.cancel();
  }
}

async function isOver(
  packet: SignaturePacket,
  key: Key | Subkey,
  read: () => AsyncIterable<Uint8Array>,
  now: Date,
): Promise<boolean> {
  return verifyOver(packet, key, read, now).then(
    () => true,
    (error: unknown) => {
      if (error instanceof UnreadableContent) throw error.cause;
      return false;
    },
  );
}

function streamOf(
  content: AsyncIterable<Uint8Array>,
  onError: (error: unknown) => void,
): ReadableStream<Uint8Array> {
  const chunks = content[Symbol.asyncIterator]();
  return new ReadableStream<Uint8Array>(
    {
      pull: async (controller) => {
        try {
          const { done, value } = await chunks.next();
          if (done) controller.close();
          else controller.enqueue(value);
        } catch (error) {
          onError(error);
          controller.error(error);
        }
      },
      cancel: async () => void (await chunks.return?.()),
    },
    { highWaterMark: 0 },
  );
}
