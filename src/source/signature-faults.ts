/** Why signatures do not count, for texts signed in place and for files signed apart. */
import { Failure } from '../diagnostics/catalogue.ts';
import { sourceCodes } from './codes.ts';

/** The one that says most of a refusal comes first. */
const faultCodes = [
  'source/altered',
  'source/wrong-stream',
  'source/key-revoked',
  'source/key-expired',
  'source/weak-signature',
  'source/signature-refused',
  'source/wrong-key',
] as const;
export type FaultCode = (typeof faultCodes)[number];

export interface SignatureFault {
  readonly code: FaultCode;
  readonly why: string;
}

/** One signature, and why it does not count. */
export interface RefusedSignature {
  /** Upper-case hex; a short name, as signatures have it. */
  readonly keyId: string;
  readonly fault: SignatureFault;
}

/** What the library says, which has no codes but these words. */
const words: readonly (readonly [RegExp, FaultCode])[] = [
  [/digest did not match|verification failed/i, 'source/altered'],
  [/key is revoked/i, 'source/key-revoked'],
  [/key is expired/i, 'source/key-expired'],
  [/insecure (?:message )?hash|too weak|unsupported hash/i, 'source/weak-signature'],
];

/** What an error of the library comes to. */
export function faultOf(error: unknown): SignatureFault {
  const why = error instanceof Error ? error.message : String(error);
  const found = words.find(([pattern]) => pattern.test(why));
  return { code: found?.[1] ?? 'source/signature-refused', why };
}

const messages: Readonly<Record<FaultCode, (name: string) => string>> = {
  'source/altered': (name) => `${name} is not what was signed`,
  'source/wrong-stream': (name) =>
    `the signature is over ${name} as it is compressed, not over the tar inside`,
  'source/key-revoked': (name) => `${name} is signed by a key that has been revoked`,
  'source/key-expired': (name) => `${name} is signed by a key that has expired`,
  'source/weak-signature': (name) => `the signature of ${name} is too weak to count`,
  'source/signature-refused': (name) => `no signature of ${name} counts`,
  'source/wrong-key': (name) => `${name} is signed by no key that is accepted for it`,
};

/**
 * The failure of a file of whose signatures none counts.
 * @param accepted full fingerprints
 * @param advice what to do about each
 */
export function noGoodSignature(
  name: string,
  accepted: readonly string[],
  signatures: readonly RefusedSignature[],
  advice: Readonly<Record<FaultCode, string>>,
): Failure {
  const codes = new Set(signatures.map(({ fault }) => fault.code));
  const code = faultCodes.find((one) => codes.has(one)) ?? 'source/wrong-key';
  return new Failure(
    sourceCodes.report(code, {
      message: messages[code](name),
      notes: [
        ...signatures.map(({ keyId, fault }) => `Signature by the key ${keyId}: ${fault.why}.`),
        `Accepted: ${accepted.join(', ')}.`,
      ],
      help: advice[code],
    }),
  );
}
