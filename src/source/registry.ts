/**
 * A repository of images, over the registry's HTTP interface. Sources: OCI distribution specification 1.1 (Pull), and the
 * documents of the registry about tokens (Token Authentication Specification; docs/spec/auth/token.md of `distribution`).
 */
import { createHash } from 'node:crypto';
import * as z from 'zod';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { FetchError } from '../host/fetch-error.ts';
import { fetchBytes, TooLongError, type FetchBytesOptions, type FetchedBytes } from '../host/fetch-bytes.ts';
import { fetchCodes } from '../host/fetch-codes.ts';
import type { ExtraHeaders } from '../host/fetch-url.ts';
import type { Host } from '../host/host.ts';
import { isLocalHost } from '../host/local-address.ts';
import { applyMirrors } from '../host/mirrors.ts';
import type { Login } from '../host/netrc.ts';
import { networkOf } from '../host/network.ts';
import { basic } from '../host/send-request.ts';
import { defaultRegistry } from '../spec/image-reference.ts';
import {
  manifestTypes,
  mostManifestBytes,
  readManifest,
  type Descriptor,
  type Manifest,
} from './image-manifest.ts';
import { registryCodes } from './registry-codes.ts';
import { registryLogin } from './registry-logins.ts';

/** Where the default registry answers, and what else it is called in files of logins: common practice. */
const defaultRegistryNames = { answers: 'registry-1.docker.io', logins: ['docker.io', 'index.docker.io'] };
/** Larger tokens than this fit into no request. */
const mostTokenBytes = 64 << 10;
/** A token says how long it lasts; without that, a minute (token.md). Seconds. */
const defaultLifetime = 60;
/** Milliseconds before its end at which a token is no longer begun with. */
const margin = 10_000;

export interface Repository {
  readonly registry: string;
  readonly repository: string;
}

export class Registry {
  readonly #host: Host;
  readonly #where: Repository;
  readonly #options: FetchBytesOptions;
  readonly #base: string;
  readonly #login: Login | undefined;
  /** What the registry wants to be told, once it has said so. */
  #challenge: Challenge | undefined;
  #authorization: { readonly value: string; readonly until: number } | undefined;

  /** @throws Failure `host/bad-mirror`, `host/bad-setting` */
  constructor(host: Host, where: Repository, options: FetchBytesOptions = {}) {
    const { registry, repository } = where;
    const { mirrors, allowedHosts } = networkOf(host);
    this.#host = host;
    this.#where = where;
    this.#options = options;
    const isDefault = registry === defaultRegistry;
    const origin = new URL(`https://${isDefault ? defaultRegistryNames.answers : registry}`);
    if (isLocalHost(origin.hostname) && allowedHosts.has(origin.hostname)) origin.protocol = 'http:';
    this.#base = `${origin.origin}/v2/${repository}`;
    // a login is for the host that is asked
    const asked = new URL(applyMirrors(this.#base, mirrors));
    const names =
      asked.host !== origin.host ? [asked.host] : isDefault ? defaultRegistryNames.logins : [registry];
    this.#login = registryLogin(host, names, repository);
  }

  /** Of a blob, before the machine's mirrors are applied. */
  blobUrl(sha256: string): string {
    return `${this.#base}/blobs/sha256:${sha256}`;
  }

  /** What a request says so that the registry answers: a token that lasts, where it has asked for one. */
  async headers(): Promise<ExtraHeaders> {
    if (this.#authorization && this.#authorization.until < Date.now() && this.#challenge)
      await this.#answer(this.#challenge);
    return this.#authorization ? { authorization: this.#authorization.value } : {};
  }

  /**
   * A manifest, or a list of them.
   *
   * @param reference a tag, or `sha256:…`, which the manifest must have
   * @throws Failure `registry/…`, `host/forbidden-target`
   */
  async manifest(reference: string): Promise<Descriptor & { readonly manifest: Manifest }> {
    const fetched = await this.#get(`manifests/${reference}`, reference, { accept: manifestTypes });
    const sha256 = createHash('sha256').update(fetched.bytes).digest('hex');
    const expected = [reference, fetched.digest].find((one) => one?.startsWith('sha256:'));
    if (expected !== undefined && expected !== `sha256:${sha256}`)
      throw this.#altered(`the manifest ${reference}`, expected, sha256);
    const read = readManifest(fetched.bytes, fetched.mediaType);
    if ('fault' in read) throw this.#bad(`the manifest ${reference} cannot be used: ${read.fault}`);
    return { sha256, size: fetched.bytes.length, manifest: read.value };
  }

  /** A small blob, such as the configuration of an image. @throws as `manifest` */
  async blob({ sha256 }: Descriptor): Promise<Uint8Array> {
    const { bytes } = await this.#get(`blobs/sha256:${sha256}`, `sha256:${sha256}`, {});
    const found = createHash('sha256').update(bytes).digest('hex');
    if (found !== sha256) throw this.#altered('the configuration', `sha256:${sha256}`, found);
    return bytes;
  }

  #bad(message: string): Failure {
    return new Failure(
      registryCodes.report('registry/bad-answer', {
        message: `${this.#name()}: ${message}`,
        help: 'Name another image, or push this one again with a tool of today.',
      }),
    );
  }

  #altered(what: string, expected: string, found: string): Failure {
    return new Failure(
      registryCodes.report('registry/altered', {
        message: `${this.#name()}: ${what} is not what the registry says it is`,
        notes: [`It should have the digest ${expected}, and has sha256:${found}.`],
        help: 'Something between here and the registry changes what comes: do not build from it, and look into that.',
      }),
    );
  }

  #name(): string {
    return quoted(`${this.#where.registry}/${this.#where.repository}`, 200);
  }

  async #get(path: string, reference: string, extra: ExtraHeaders): Promise<FetchedBytes> {
    const url = `${this.#base}/${path}`;
    const ask = async (): Promise<FetchedBytes> =>
      fetchBytes(this.#host, url, mostManifestBytes, this.#options, { ...extra, ...(await this.headers()) });
    try {
      try {
        return await ask();
      } catch (error) {
        const challenge = error instanceof FetchError && error.status === 401 ? error.challenge : undefined;
        if (challenge === undefined) throw error;
        await this.#answer(parseChallenge(challenge));
        return await ask();
      }
    } catch (error) {
      throw this.#explain(error, url, reference);
    }
  }

  /** Does what the registry wants. What it answers to it afterwards decides. */
  async #answer(challenge: Challenge): Promise<void> {
    this.#challenge = challenge;
    const login = this.#login && basic(this.#login.user, this.#login.password);
    if (challenge.scheme === 'basic') {
      this.#assertSecret(this.#base);
      if (login !== undefined) this.#authorization = { value: login, until: Infinity };
      return;
    }
    const url = tokenUrl(challenge, this.#where.repository);
    if (login !== undefined) this.#assertSecret(url);
    const extra: ExtraHeaders = login === undefined ? {} : { authorization: login };
    const { bytes } = await fetchBytes(this.#host, url, mostTokenBytes, this.#options, extra);
    const token = readToken(bytes);
    if (!token) throw this.#bad(`the service at ${originOf(url)} hands out no token`);
    this.#authorization = {
      value: `Bearer ${token.token}`,
      until: Date.now() + token.lifetime * 1000 - margin,
    };
  }

  /** A password goes over no line that others can listen to. */
  #assertSecret(url: string): void {
    const { mirrors, allowedHosts } = networkOf(this.#host);
    const { protocol, hostname, origin } = new URL(applyMirrors(url, mirrors));
    if (protocol === 'https:' || allowedHosts.has(hostname)) return;
    throw new FetchError(
      `it wants a password to be sent to ${origin}, where anybody may read it on the way`,
      {
        forbidden: true,
      },
    );
  }

  #explain(error: unknown, url: string, reference: string): unknown {
    if (!(error instanceof FetchError)) return error;
    const notes = [`${url}: ${error.message}`];
    const image = `${this.#name()} ${reference.startsWith('sha256:') ? reference : quoted(reference, 140)}`;
    if (error instanceof TooLongError) return this.#bad(`${reference} is larger than any manifest`);
    if (error.forbidden) {
      return new Failure(
        fetchCodes.report('host/forbidden-target', {
          message: `the registry of ${image} leads to where nothing is fetched from`,
          notes,
          help: 'If it really is to be fetched from there, allow the host on this machine: QUERN_ALLOWED_HOSTS=NAME.',
        }),
        { cause: error },
      );
    }
    if (error.status === 401 || error.status === 403) return this.#unauthorised(image, notes, error);
    if (error.status === 404) {
      return new Failure(
        registryCodes.report('registry/no-such-image', {
          message: `there is no image ${image}`,
          notes,
          help: 'See what the registry has (skopeo list-tags), and name that in environment.image.',
        }),
        { cause: error },
      );
    }
    const help =
      'Check the network of this machine and the state of the registry, and try again; or name a mirror in QUERN_MIRRORS.';
    const message = `the image ${image} cannot be fetched`;
    return new Failure(registryCodes.report('registry/unreachable', { message, notes, help }), {
      cause: error,
    });
  }

  #unauthorised(image: string, notes: readonly string[], cause: unknown): Failure {
    const why = this.#login
      ? `It was asked as ${quoted(this.#login.user)}.`
      : 'This machine has no login for it.';
    return new Failure(
      registryCodes.report('registry/unauthorised', {
        message: `the registry does not hand out ${image}`,
        notes: [...notes, why, 'Some registries say so of images that there are not, too.'],
        help:
          'Log in with an engine (docker login, podman login), or name a file with a login in REGISTRY_AUTH_FILE or ' +
          'its folder in DOCKER_CONFIG. Programs that keep passwords are not asked.',
      }),
      { cause },
    );
  }
}

interface Challenge {
  readonly scheme: 'basic' | 'bearer';
  readonly parameters: ReadonlyMap<string, string>;
}

/** RFC 9110 section 11.6.1, of which one scheme is wanted. @throws FetchError when there is neither */
function parseChallenge(text: string): Challenge {
  const [, scheme = '', rest = ''] = /(?:^|,\s*)(bearer|basic)\s+(.*)$/isu.exec(text) ?? [];
  const kind = scheme.toLowerCase();
  if (kind !== 'basic' && kind !== 'bearer')
    throw new FetchError(
      `it wants to be told who asks in a way that is not known here: ${quoted(text, 60)}`,
      { status: 401 },
    );
  const parameters = new Map<string, string>();
  for (const [, name = '', inQuotes, plain] of rest.matchAll(
    /([a-z]+)=(?:"((?:[^"\\]|\\.)*)"|([^\s,"]+))/giu,
  )) {
    const key = name.toLowerCase();
    if (!parameters.has(key)) parameters.set(key, inQuotes?.replace(/\\(.)/gu, '$1') ?? plain ?? '');
  }
  return { scheme: kind, parameters };
}

/** @throws FetchError */
function tokenUrl({ parameters }: Challenge, repository: string): string {
  const realm = parameters.get('realm') ?? '';
  if (!URL.canParse(realm)) throw new FetchError('it does not say where a token is to be had');
  const url = new URL(realm);
  const service = parameters.get('service');
  if (service !== undefined) url.searchParams.set('service', service);
  url.searchParams.set('scope', parameters.get('scope') ?? `repository:${repository}:pull`);
  return url.href;
}

function originOf(url: string): string {
  return new URL(url).origin;
}

const word = z.string().regex(/^[\x21-\x7e]{1,32768}$/u);
const tokenSchema = z.looseObject({
  token: word.optional(),
  access_token: word.optional(),
  expires_in: z.number().optional(),
});

function readToken(bytes: Uint8Array): { readonly token: string; readonly lifetime: number } | undefined {
  try {
    const read = tokenSchema.parse(JSON.parse(Buffer.from(bytes).toString()));
    const token = read.token ?? read.access_token;
    return token === undefined
      ? undefined
      : { token, lifetime: Math.max(read.expires_in ?? 0, defaultLifetime) };
  } catch {
    return undefined;
  }
}
