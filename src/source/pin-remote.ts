/** Pins a source that is fetched: the tar by digest, and who signed it. */
import { readFile } from 'node:fs/promises';
import type { Key } from 'openpgp';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { fetchBytes } from '../host/fetch-bytes.ts';
import { FetchError } from '../host/fetch-error.ts';
import { digestOf } from '../host/digest-file.ts';
import type { Host } from '../host/host.ts';
import type { KeyPin, RemotePin } from '../spec/lock.ts';
import { tarName } from '../spec/source-text.ts';
import type { RemoteSource } from '../spec/spec.ts';
import { verifyClearsigned } from './clearsigned.ts';
import { sourceCodes } from './codes.ts';
import {
  expiredSince,
  formatDate,
  readDetached,
  verifyDetached,
  type Candidates,
  type GoodSignature,
} from './detached-signature.ts';
import { gatherKeys } from './gather-keys.ts';
import type { Locate } from './locate.ts';
import { releaseFiles } from './release-site.ts';
import {
  fetchTarball,
  fetchedBefore,
  rememberTar,
  type FetchedFile,
  type FetchTarballOptions,
} from './remote-tarball.ts';
import { keysOf } from './signer-keys.ts';
import { compressionOfTar, mostTar, TarContent } from './tar-content.ts';

export interface PinRemoteOptions extends FetchTarballOptions {
  /** Bytes that a tar may have. */
  readonly mostUnpacked?: number;
}

export interface RemoteRequest {
  readonly source: RemoteSource;
  /** `kernel.version` */
  readonly version: string;
  /** Keys that were fetched before, and need not be again. */
  readonly keys: readonly KeyPin[];
}

/** A signature has a few hundred bytes; one by many keys a few thousand. */
const mostSignature = 64 << 10;
/** A folder of kernel.org with ten years of releases has a list of some hundred kilobytes (from memory). */
const mostSums = 16 << 20;

/** What a tarball is compared with. */
interface Proof {
  /** Of the file, or of the tar inside. */
  readonly sha256: string | undefined;
  readonly signature: { readonly sha256: string; readonly candidates: Candidates } | undefined;
  /** File name to SHA-256, out of the signed list. */
  readonly sums: ReadonlyMap<string, string> | undefined;
}

/**
 * @param locate says where a path of the spec is on this machine, or refuses it
 * @throws Failure about keys, signature, digests or the network
 */
export async function pinRemote(
  host: Host,
  { source, version, keys: known }: RemoteRequest,
  locate: Locate,
  options: PinRemoteOptions = {},
): Promise<{ readonly value: RemotePin; readonly diagnostics: readonly Diagnostic[] }> {
  const places = placesOf(source, version);
  const name = tarName(places.urls);
  host.progress.stage('fetching keys and signature');
  const signers = [
    ...source.signers,
    ...(source.kind === 'release' && source.sums !== undefined ? [source.sums] : []),
  ];
  const ring = await gatherKeys(host, source, signers, known, locate, options);
  const proof: Proof = {
    sha256: source.kind === 'url' ? source.sha256 : undefined,
    signature: await readSignature(host, source, places, name, ring.keys, locate, options),
    sums: await readSums(host, source, places.sums, ring.keys, options),
  };
  const accept = (file: FetchedFile): Promise<Accepted> => examine(host, file, name, proof, options);
  const accepted =
    (await acceptEarlier(host, places.urls, accept)) ??
    (await fetchTarball(host, places.urls, options, accept));
  const { good, ...found } = accepted;
  rememberTar(host, found, found.sha256);
  const { kind } = source;
  const value: RemotePin = {
    kind,
    urls: places.urls,
    ...found,
    ...(good &&
      proof.signature && {
        signature: { sha256: proof.signature.sha256, signer: good.signer, made: formatDate(good.made) },
      }),
    ...(ring.keyring && { keyring: ring.keyring }),
    keys: ring.fetched,
  };
  return { value, diagnostics: good?.expiredSince === true ? [expiredSince(name, good)] : [] };
}

interface Places {
  readonly urls: readonly string[];
  readonly signatures: readonly string[];
  readonly sums: readonly string[];
}

function placesOf(source: RemoteSource, version: string): Places {
  if (source.kind === 'release') {
    const { tarballs, signatures, sums } = releaseFiles(source.site, version);
    return { urls: tarballs, signatures, sums };
  }
  const { signature } = source;
  return { urls: source.urls, signatures: signature?.kind === 'url' ? [signature.url] : [], sums: [] };
}

async function readSignature(
  host: Host,
  source: RemoteSource,
  { signatures }: Places,
  of: string,
  keys: readonly Key[],
  locate: Locate,
  options: FetchTarballOptions,
): Promise<Proof['signature']> {
  if (source.kind === 'url' && source.signature === undefined) return undefined;
  const file =
    source.kind === 'url' && source.signature?.kind === 'file'
      ? { url: source.signature.path, bytes: await readFile(await locate(source.signature.path, 'file')) }
      : await fetchFirst(host, signatures, mostSignature, options, (notes) =>
          sourceCodes.report('source/no-signature', {
            message: `there is no signature for ${of}`,
            notes,
            help: 'A source that nobody has signed is not built: see whether there is such a version, and where its signature is.',
          }),
        );
  const accepted = keysOf(source.signers, keys, ['the keys']);
  const candidates = await readDetached({ bytes: file.bytes, name: file.url }, of, accepted, host.now());
  return { sha256: digestOf(file.bytes), candidates };
}

/** The first of several places that has a small file. @param gone what to say when each says that it has none */
async function fetchFirst(
  host: Host,
  urls: readonly string[],
  most: number,
  options: FetchTarballOptions,
  gone: (notes: readonly string[]) => Diagnostic,
): Promise<{ readonly url: string; readonly bytes: Uint8Array }> {
  const errors: FetchError[] = [];
  for (const url of urls) {
    try {
      return await fetchBytes(host, url, most, options);
    } catch (error) {
      if (!(error instanceof FetchError)) throw error;
      errors.push(error);
    }
  }
  const notes = urls.map((url, nth) => `${url}: ${errors[nth]?.message ?? ''}`);
  const isGone = errors.every(({ status }) => status === 404 || status === 410);
  if (isGone) throw new Failure(gone(notes));
  throw new Failure(
    sourceCodes.report('source/unreachable', {
      message: 'what the source is verified with cannot be fetched',
      notes,
      help: 'Check the network of this machine, or name a mirror that can be reached: QUERN_MIRRORS="PREFIX=REPLACEMENT".',
    }),
  );
}

/** The signed list of digests of a release's folder: whether what came is what the site has, besides who signed it. */
async function readSums(
  host: Host,
  source: RemoteSource,
  urls: readonly string[],
  keys: readonly Key[],
  options: FetchTarballOptions,
): Promise<Proof['sums']> {
  if (source.kind !== 'release' || source.sums === undefined) return undefined;
  const { url, bytes } = await fetchFirst(host, urls, mostSums, options, (notes) =>
    sourceCodes.report('source/sums-missing', {
      message: 'there is no signed list of digests',
      notes,
      help: 'Take `sums` out of the spec: the signature of the release itself is what counts.',
    }),
  );
  const accepted = keysOf([source.sums], keys, ['the keys']).map((key) => ({
    fingerprint: key.getFingerprint().toUpperCase(),
    armored: key.toPublic().armor(),
  }));
  const { text } = await verifyClearsigned(bytes, url, accepted, host.now(), {
    'source/wrong-key':
      'Name the fingerprint of the key that signs the list (sums), once you know that it is the right one.',
  });
  return new Map(
    [...text.matchAll(/^([0-9a-f]{64}) [ *](\S+)$/gm)].map(([, sha256 = '', file = '']) => [file, sha256]),
  );
}

interface Accepted {
  readonly size: number;
  readonly sha256: string;
  readonly tar: RemotePin['tar'];
  readonly good: GoodSignature | undefined;
}

/** What was fetched before is looked at like what is fetched now; if it is not right, nothing is said of it. */
async function acceptEarlier(
  host: Host,
  urls: readonly string[],
  accept: (file: FetchedFile) => Promise<Accepted>,
): Promise<Accepted | undefined> {
  const earlier = await fetchedBefore(host, urls);
  if (!earlier) return undefined;
  host.progress.stage('verifying the source');
  return accept(earlier).catch((error: unknown) => {
    if (!(error instanceof Failure)) throw error;
    return undefined;
  });
}

async function examine(
  host: Host,
  file: FetchedFile,
  name: string,
  proof: Proof,
  { mostUnpacked = mostTar }: PinRemoteOptions,
): Promise<Accepted> {
  if (proof.sums) assertSums(file, proof.sums);
  const compression = await compressionOfTar(file.path, file.name);
  const content = new TarContent(file.path, file.name, compression, host.signal, mostUnpacked);
  const { signature } = proof;
  const good =
    signature &&
    (await verifyDetached(
      signature.candidates,
      { name: file.name, tar: () => content.read(), file: () => content.readFile() },
      host.now(),
    ));
  const tar = await content.measure();
  if (proof.sha256 !== undefined && proof.sha256 !== file.sha256 && proof.sha256 !== tar.sha256)
    throw wrongDigest(file, tar.sha256, proof.sha256, name);
  return { size: file.size, sha256: file.sha256, tar, good };
}

function assertSums({ name, sha256 }: FetchedFile, sums: ReadonlyMap<string, string>): void {
  const base = name.replace(/[?#].*$/, '').replace(/^.*\//, '');
  const said = sums.get(base);
  if (said === sha256) return;
  const where = quoted(name, 160);
  if (said === undefined) {
    throw new Failure(
      sourceCodes.report('source/sums-missing', {
        message: `the signed list of digests says nothing of ${where}`,
        help: 'The list may be older than the file: try again later, or take `sums` out of the spec.',
      }),
    );
  }
  throw new Failure(
    sourceCodes.report('source/sums-differ', {
      message: `${where} has the SHA-256 ${sha256}, and the signed list of digests says ${said}`,
      help: 'It was changed on its way, or the place is not what it should be: fetch it from another one (QUERN_MIRRORS).',
    }),
  );
}

function wrongDigest(file: FetchedFile, tar: string, wanted: string, name: string): Failure {
  return new Failure(
    sourceCodes.report('source/wrong-tar', {
      message: `${file.name} is not the file that the spec says`,
      notes: [
        `The spec says the SHA-256 ${wanted}; the file has ${file.sha256}, and ${name} inside has ${tar}.`,
      ],
      help: 'See whether the digest in the spec is that of this version; if it is, do not build from this place.',
    }),
  );
}
