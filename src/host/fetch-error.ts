/** Why a URL gave nothing, in words that go behind it: `http://…: it answered 404 Not Found`. */
export class FetchError extends Error {
  /** Status of the answer, when there was one. */
  readonly status: number | undefined;
  /** Whether trying again may help. */
  readonly transient: boolean;
  /** It leads to where nothing is fetched from. */
  readonly forbidden: boolean;
  /** How one would have to say who one is, as the server puts it (RFC 9110 section 11.6.1). */
  readonly challenge: string | undefined;
  /** Milliseconds after which the server wants to be asked again, if it says so (RFC 9110 section 10.2.3). */
  readonly retryAfter: number | undefined;

  constructor(
    message: string,
    options: {
      readonly status?: number | undefined;
      readonly transient?: boolean;
      readonly forbidden?: boolean;
      readonly challenge?: string | undefined;
      readonly retryAfter?: number | undefined;
      readonly cause?: unknown;
    } = {},
  ) {
    super(message, { cause: options.cause });
    this.name = 'FetchError';
    this.status = options.status;
    this.transient = options.transient ?? false;
    this.forbidden = options.forbidden ?? false;
    this.challenge = options.challenge;
    this.retryAfter = options.retryAfter;
  }
}

const causes: Readonly<Record<string, string>> = {
  ENOTFOUND: 'there is no host of that name',
  EAI_AGAIN: 'the host name could not be resolved',
  ECONNREFUSED: 'the connection was refused',
  ECONNRESET: 'the connection broke off',
  EPIPE: 'the connection broke off',
  EHOSTUNREACH: 'the host cannot be reached',
  ENETUNREACH: 'the network cannot be reached',
  ETIMEDOUT: 'the connection timed out',
};

/** What OpenSSL says of a certificate (openssl-verify(1)), and Node of its name. */
const certificateFaults: Readonly<Record<string, string>> = {
  CERT_HAS_EXPIRED: 'its certificate has expired',
  CERT_NOT_YET_VALID: 'its certificate is not valid yet',
  DEPTH_ZERO_SELF_SIGNED_CERT: 'its certificate is self-signed',
  SELF_SIGNED_CERT_IN_CHAIN: 'its certificate is by an authority that this machine does not know',
  UNABLE_TO_GET_ISSUER_CERT: 'its certificate is by an authority that this machine does not know',
  UNABLE_TO_GET_ISSUER_CERT_LOCALLY: 'its certificate is by an authority that this machine does not know',
  UNABLE_TO_VERIFY_LEAF_SIGNATURE: 'its certificate is by an authority that this machine does not know',
  ERR_TLS_CERT_ALTNAME_INVALID: 'its certificate is for another host',
};

/** What the network says, in words. */
export function networkError(error: unknown): FetchError {
  // A host with several addresses fails with one error for each of them.
  const inner = error instanceof AggregateError && error.errors[0] instanceof Error ? error.errors[0] : error;
  const code = inner instanceof Error && 'code' in inner ? String(inner.code) : '';
  const fault = certificateFaults[code];
  if (fault !== undefined) {
    const advice = 'an authority of your own is named in NODE_EXTRA_CA_CERTS or SSL_CERT_FILE';
    return new FetchError(`${fault} (${advice})`, { cause: error });
  }
  const message = causes[code] ?? (inner instanceof Error ? inner.message : String(inner));
  return new FetchError(message, { transient: code !== 'ENOTFOUND', cause: error });
}
