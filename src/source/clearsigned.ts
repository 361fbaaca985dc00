/**
 * Verifies a text signed in place, as an archive's `InRelease` is. Sources: RFC 9580 section 7 (Cleartext Signature
 * Framework) and, for what an archive may send, apt-secure(8).
 *
 * Stricter than the format: the file is one signed text and nothing else, since whoever reads the file would take what
 * stands around it for signed as well. What is handed out is the text that the signature was checked against.
 *
 * One good signature by an accepted key is enough, whatever other signatures stand beside it: an archive signs with the
 * keys of two releases, and a reader knows one of them. A key that has expired no longer counts, even for a signature
 * that says it was made before: that date is written by the signer. What is in a lock stays good all the same, since
 * it is pinned by digest.
 */
import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { sourceCodes, type SourceCode } from './codes.ts';
import type { AcceptedKeys } from './debian-archive-keys.ts';
import { faultOf, noGoodSignature, type FaultCode, type SignatureFault } from './signature-faults.ts';

export interface VerifiedText {
  /** Lines end in `\n`, without white space at their ends: that is what is signed. */
  readonly text: string;
  /** Fingerprint of the primary key of the signer: upper-case hex. Of several, the first in `accepted`. */
  readonly signer: string;
}

interface SignatureCheck {
  /** Index into the accepted keys; absent when none of them has this key ID. */
  readonly key: number | undefined;
  readonly keyId: string;
  /** Why it does not count; absent when it does. */
  readonly fault?: SignatureFault;
}

const beginMessage = '-----BEGIN PGP SIGNED MESSAGE-----';
const beginSignature = '-----BEGIN PGP SIGNATURE-----';
const endSignature = '-----END PGP SIGNATURE-----';

function refuse(
  code: SourceCode,
  message: string,
  notes: readonly string[],
  help: string,
  cause?: unknown,
): Failure {
  return new Failure(sourceCodes.report(code, { message, notes, help }), { cause });
}

const otherPlace =
  'Fetch it from another mirror (QUERN_MIRRORS), or try again: it may have been changed on its way.';

const clockAdvice =
  "Check this machine's clock; if it is right, it is signed by a key that is no longer good.";

const advice: Readonly<Record<FaultCode, string>> = {
  'source/altered': otherPlace,
  'source/wrong-stream': otherPlace,
  'source/key-revoked': clockAdvice,
  'source/key-expired': clockAdvice,
  'source/weak-signature': clockAdvice,
  'source/signature-refused': clockAdvice,
  'source/wrong-key':
    'If Debian has changed its keys, a newer Quern knows them; otherwise this is not an archive to trust.',
};

function badForm(name: string, why: string): Failure {
  return refuse(
    'source/bad-signature-form',
    `${name} is not a well-formed signed text: ${why}`,
    [],
    otherPlace,
  );
}

/** Asserts that the file is one signed text with nothing before, behind or in between that would not be covered. */
function assertFraming(text: string, name: string): void {
  const lines = text.split('\n').map((line) => line.replace(/[\t\r ]+$/, ''));
  if (!lines.includes(beginMessage)) {
    const help = 'An archive that is not signed cannot be used; check where it is fetched from.';
    throw refuse('source/not-signed', `${name} is not signed`, [], help);
  }
  const outside = (what: string): Failure =>
    refuse(
      'source/outside-signature',
      `${name} has text that its signature does not cover: ${what}`,
      [],
      otherPlace,
    );
  if (lines[0] !== beginMessage) throw outside(`${quoted(lines[0] ?? '')} in front of it`);
  const signature = lines.indexOf(beginSignature);
  const end = lines.indexOf(endSignature);
  if (signature < 0 || end < signature) throw badForm(name, 'it has no whole signature');
  const behind = lines.slice(end + 1).find((line) => line !== '');
  if (behind !== undefined) throw outside(`${quoted(behind)} behind it`);
  const blank = lines.indexOf('');
  const header = lines.slice(1, blank).find((line) => !line.startsWith('Hash: '));
  if (header !== undefined) throw outside(`the header ${quoted(header)}`);
  // The framing escapes every line of the text that begins with a hyphen.
  const bare = lines.slice(blank, signature).find((line) => line.startsWith('-') && !line.startsWith('- '));
  if (bare !== undefined) throw badForm(name, `the line ${quoted(bare)} is not escaped`);
}

/**
 * @param bytes the whole file
 * @param name how messages call it: its URL
 * @param accepted the keys whose signature counts, the preferred one first
 * @param now the time by which keys are expired or not
 * @param ownAdvice what to do about a fault, where it is no index of Debian
 * @throws Failure `source/not-signed`, `source/bad-signature-form`, `source/outside-signature`, or one of `FaultCode`
 */
export async function verifyClearsigned(
  bytes: Uint8Array,
  name: string,
  accepted: AcceptedKeys,
  now: Date,
  ownAdvice: Partial<Record<FaultCode, string>> = {},
): Promise<VerifiedText> {
  const text = decodeText(bytes, name);
  assertFraming(text, name);
  const { text: signed, checks } = await checkSignatures(text, name, accepted, now);
  const [best] = checks
    .filter(({ fault }) => fault === undefined)
    .flatMap(({ key }) => key ?? [])
    .sort((a, b) => a - b);
  const signer = best === undefined ? undefined : accepted[best];
  if (!signer) {
    const fingerprints = accepted.map(({ fingerprint }) => fingerprint);
    const refused = checks.flatMap(({ keyId, fault }) => (fault ? [{ keyId, fault }] : []));
    throw noGoodSignature(name, fingerprints, refused, { ...advice, ...ownAdvice });
  }
  return { text: signed, signer: signer.fingerprint };
}

function decodeText(bytes: Uint8Array, name: string): string {
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes);
  } catch (error) {
    throw refuse('source/bad-signature-form', `${name} is not a text in UTF-8`, [], otherPlace, error);
  }
}

async function checkSignatures(
  text: string,
  name: string,
  accepted: AcceptedKeys,
  now: Date,
): Promise<{ readonly text: string; readonly checks: readonly SignatureCheck[] }> {
  // Half a megabyte of code that only pinning needs.
  const openpgp = await import('openpgp');
  const keys = await Promise.all(accepted.map(({ armored }) => openpgp.readKey({ armoredKey: armored })));
  keys.forEach((key, place) => {
    const found = key.getFingerprint().toUpperCase();
    const said = accepted[place]?.fingerprint;
    if (found !== said) throw new Error(`the key for ${said ?? ''} has the fingerprint ${found}`);
  });
  const message = await openpgp.readCleartextMessage({ cleartextMessage: text }).catch((error: unknown) => {
    throw refuse(
      'source/bad-signature-form',
      `${name} has a signature that cannot be read`,
      [],
      otherPlace,
      error,
    );
  });
  const { signatures } = await openpgp.verify({ message, verificationKeys: keys, date: now });
  const checks = signatures.map(async ({ keyID, verified }): Promise<SignatureCheck> => {
    const key = keys.findIndex((one) => one.getKeys(keyID).length > 0);
    const keyId = keyID.toHex().toUpperCase();
    if (key < 0) return { key: undefined, keyId, fault: { code: 'source/wrong-key', why: 'not accepted' } };
    try {
      await verified;
      await keys[key]?.getSigningKey(keyID, now);
      return { key, keyId };
    } catch (error) {
      return { key, keyId, fault: faultOf(error) };
    }
  });
  return { text: message.getText(), checks: await Promise.all(checks) };
}
