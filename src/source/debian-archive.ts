/**
 * Reads what a Debian release has to offer for one architecture: the signed indexes of main, its updates and its
 * security updates, component main.
 */
import { packagesReader, type PackageRecord } from '../environment/package-record.ts';
import { mergePackages, type PackageIndex } from '../environment/package-index.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { downloadAll, type DownloadItem } from '../host/download.ts';
import { fetchBytes, type FetchBytesOptions } from '../host/fetch-bytes.ts';
import { FetchError } from '../host/fetch-error.ts';
import type { Host } from '../host/host.ts';
import type { IndexPin, Origin } from '../spec/lock.ts';
import type { DebianRelease } from '../spec/spec.ts';
import { verifyClearsigned } from './clearsigned.ts';
import { sourceCodes } from './codes.ts';
import { archiveSigners, type AcceptedKeys } from './debian-archive-keys.ts';
import { decompress, type Compression } from './decompress.ts';
import { readReleaseFile, type ReleaseEntry, type ReleaseFile } from './release-file.ts';

export interface ArchiveIndexes {
  /** Keyed as `IndexPin.origin` and `PackageRecord.origin` have it. */
  readonly origins: Readonly<Record<string, Origin>>;
  readonly indexes: readonly IndexPin[];
  readonly index: PackageIndex;
  /** Warnings: an index that is older than it should be. */
  readonly diagnostics: readonly Diagnostic[];
}

export interface ArchiveRequest extends FetchBytesOptions {
  readonly release: DebianRelease;
  /** As Debian calls it: `amd64`. */
  readonly architecture: string;
  /** As it was at this time, RFC 3339 in UTC; as it is when absent. */
  readonly snapshot?: string | undefined;
  /** Where the archives are, other than at Debian's own address. */
  readonly urls?: Readonly<Record<OriginName, string>>;
  /** Whose signature counts, other than that of Debian's own keys. */
  readonly signers?: Readonly<Record<'archive' | 'security', AcceptedKeys>>;
}

type OriginName = 'debian' | 'debian-security';

const debianUrls: Readonly<Record<OriginName, string>> = {
  debian: 'http://deb.debian.org/debian',
  'debian-security': 'http://deb.debian.org/debian-security',
};

const snapshots = 'http://snapshot.debian.org/archive';
/** An `InRelease` file has about 150 kB. */
const mostInRelease = 8 << 20;
/** Used only where the signed index does not say how large the unpacked one is. */
const mostPackages = 1 << 30;

interface Suite {
  readonly origin: OriginName;
  readonly name: string;
  /** Its folder's URL. */
  readonly url: string;
  readonly signers: AcceptedKeys;
}

/** A suite whose index was fetched and verified. */
interface SignedSuite extends Suite {
  readonly release: ReleaseFile;
  readonly signer: string;
}

/** A package index of a suite, and how to fetch it. */
interface PackagesFile {
  readonly suite: SignedSuite;
  readonly item: DownloadItem;
  readonly compression: Compression;
  /** Bytes when unpacked, if the signed index says so. */
  readonly unpacked: number | undefined;
}

/** Names of the security suites are as they are since bullseye; before, it was `<release>/updates`. */
function suitesOf(request: ArchiveRequest): readonly Suite[] {
  const { release, snapshot, urls = debianUrls, signers = archiveSigners[release] } = request;
  const suite = (origin: OriginName, name: string, keys: AcceptedKeys): Suite => ({
    origin,
    name,
    url: `${snapshot === undefined ? urls[origin] : datedUrl(origin, new Date(snapshot))}/dists/${name}`,
    signers: keys,
  });
  return [
    suite('debian', release, signers.archive),
    suite('debian', `${release}-updates`, signers.archive),
    suite('debian-security', `${release}-security`, signers.security),
  ];
}

async function readSuite(host: Host, suite: Suite, request: ArchiveRequest): Promise<SignedSuite> {
  const file = await fetchInRelease(host, suite, request);
  const verified = await verifyClearsigned(file.bytes, file.url, suite.signers, host.now());
  const release = readReleaseFile(verified.text);
  if ('fault' in release) {
    const message = `${file.url} cannot be read: ${release.fault}`;
    throw new Failure(sourceCodes.report('source/bad-index', { message, help: signedSo }));
  }
  if (release.codename !== suite.name) {
    throw new Failure(
      sourceCodes.report('source/wrong-suite', {
        message: `${file.url} is the index of ${release.codename}, not of ${suite.name}`,
        notes: ['It is signed, so somebody or something serves a genuine index in the wrong place.'],
        help: 'Fetch from another mirror (QUERN_MIRRORS).',
      }),
    );
  }
  assertNotLater(release.date, file.url, request);
  return { ...suite, release, signer: verified.signer };
}

/** A mirror need not know of dates, and hands out the index of today then. */
function assertNotLater(date: Date, url: string, { snapshot }: ArchiveRequest): void {
  if (snapshot === undefined || date <= new Date(snapshot)) return;
  throw new Failure(
    sourceCodes.report('source/not-the-snapshot', {
      message: `${url} is of ${formatDate(date)}, which is later than the snapshot that the spec asks for`,
      notes: [`The spec asks for the archive as it was at ${snapshot}.`],
      help: 'Fetch from a mirror that keeps dated copies (QUERN_MIRRORS), or take out environment.snapshot.',
    }),
  );
}

async function fetchInRelease(
  host: Host,
  suite: Suite,
  request: ArchiveRequest,
): Promise<{ readonly url: string; readonly bytes: Uint8Array }> {
  const url = `${suite.url}/InRelease`;
  try {
    return await fetchBytes(host, url, mostInRelease, request);
  } catch (error) {
    if (!(error instanceof FetchError)) throw error;
    const notes = [`${url}: ${error.message}`];
    if (error.status === 404 || error.status === 410) {
      throw new Failure(
        sourceCodes.report('source/release-gone', {
          message: `the archive has no suite ${suite.name}`,
          notes: [...notes, 'Old releases move to http://archive.debian.org.'],
          help:
            `Take a newer release (environment.debian), or say where this one is: ` +
            `QUERN_MIRRORS="${suite.url.replace(/\/dists\/.*/, '')}=http://archive.debian.org/${suite.origin}".`,
        }),
        { cause: error },
      );
    }
    throw new Failure(
      sourceCodes.report('source/index-unreachable', {
        message: `the index of ${suite.name} cannot be fetched`,
        notes,
        help: 'Check the network, or name a mirror that can be reached in QUERN_MIRRORS="PREFIX=REPLACEMENT".',
      }),
      { cause: error },
    );
  }
}

const suffixes: readonly (readonly [string, Compression])[] = [
  ['.xz', 'xz'],
  ['.gz', 'gzip'],
];

function packagesFileOf(suite: SignedSuite, architecture: string): PackagesFile {
  const { release, url } = suite;
  const plain = `main/binary-${architecture}/Packages`;
  for (const [suffix, compression] of suffixes) {
    const entry = release.files.get(plain + suffix);
    if (!entry) continue;
    const urls = packagesUrls(url, plain + suffix, entry, release.byHash);
    return { suite, item: { urls, ...entry }, compression, unpacked: release.files.get(plain)?.size };
  }
  throw new Failure(
    sourceCodes.report('source/index-missing', {
      message: `the suite ${suite.name} has no packages for ${architecture}`,
      notes: [`${url}/InRelease lists no ${plain}.xz and no ${plain}.gz.`],
      help: 'Take a release that has this architecture.',
    }),
  );
}

function packagesUrls(
  url: string,
  path: string,
  { sha256 }: ReleaseEntry,
  byHash: boolean,
): readonly string[] {
  const named = `${url}/${path}`;
  return byHash ? [`${named.slice(0, named.lastIndexOf('/'))}/by-hash/SHA256/${sha256}`, named] : [named];
}

/** What to do with what cannot be read, and is what the archive has signed. */
const signedSo =
  'The archive has signed it so: try again later, or take packages of another day (environment.snapshot).';

async function readPackages(file: PackagesFile, path: string): Promise<readonly PackageRecord[]> {
  const { suite, compression, unpacked } = file;
  const bad = (why: string, cause?: unknown): Failure =>
    new Failure(
      sourceCodes.report('source/bad-index', {
        message: `the package index of ${suite.name} cannot be read: ${why}`,
        notes: [`It came from ${file.item.urls.join(' or ')}, with the digest that the signed index gives.`],
        help: signedSo,
      }),
      { cause },
    );
  const reader = packagesReader(suite.origin);
  let size = 0;
  try {
    for await (const chunk of decompress(path, compression, unpacked ?? mostPackages)) {
      size += chunk.length;
      reader.feed(chunk);
    }
  } catch (error) {
    throw bad(`it is no ${compression} file`, error);
  }
  if (size !== (unpacked ?? size) || size > mostPackages) {
    throw bad(`it does not unpack to the ${unpacked ?? mostPackages} bytes that it should have`);
  }
  const { records, problems } = reader.end();
  const [problem] = problems;
  if (problem) throw bad(`line ${problem.line}: ${problem.reason}`);
  return records;
}

/**
 * The dated copy of an archive that has all files of indexes up to `date`. A snapshot is named by the time at which it
 * was taken, and a name in between leads to the one before; the first with an index's files is taken some hours after
 * the index is made, and a file that is replaced stays for a day and a half: a day later both are safe.
 */
function snapshotUrl(origin: OriginName, date: Date): string {
  return datedUrl(origin, new Date(date.getTime() + 24 * 3600 * 1000));
}

/** The archive as it was at a time: that of the last copy before. */
function datedUrl(origin: OriginName, date: Date): string {
  const stamp = date.toISOString().replace(/\.\d+/, '').replace(/[-:]/g, '');
  return `${snapshots}/${origin}/${stamp}`;
}

function originsOf(
  suites: readonly SignedSuite[],
  { urls = debianUrls, snapshot }: ArchiveRequest,
): Readonly<Record<string, Origin>> {
  const origins: Record<string, Origin> = {};
  for (const name of ['debian', 'debian-security'] as const) {
    const times = suites.filter(({ origin }) => origin === name).map(({ release }) => release.date.getTime());
    const dated =
      snapshot === undefined
        ? snapshotUrl(name, new Date(Math.max(...times)))
        : datedUrl(name, new Date(snapshot));
    origins[name] = { url: urls[name], snapshot: dated };
  }
  return origins;
}

function formatDate(date: Date): string {
  return date.toISOString().replace('.000Z', 'Z');
}

function warnIfOld({ name, url, release }: SignedSuite, now: Date): readonly Diagnostic[] {
  const { date, validUntil } = release;
  if (!validUntil || validUntil >= now) return [];
  const days = Math.floor((now.getTime() - date.getTime()) / (24 * 3600 * 1000));
  return [
    sourceCodes.report('source/index-old', {
      message: `the index of ${name} is ${days} days old: it was good until ${formatDate(validUntil)}`,
      notes: [
        'A mirror that has stopped following the archive hides security updates.',
        `It came from ${url}.`,
      ],
      help: "Check this machine's clock, or fetch from another mirror (QUERN_MIRRORS).",
    }),
  ];
}

/** Of a day that is still to come there would be another archive every time. */
function assertPast(host: Host, { snapshot }: ArchiveRequest): void {
  if (snapshot === undefined || new Date(snapshot) <= host.now()) return;
  throw new Failure(
    sourceCodes.report('source/not-the-snapshot', {
      message: `environment.snapshot is ${snapshot}, which is still to come`,
      notes: [`By the clock of this machine it is ${formatDate(host.now()).replace(/\.\d+/, '')}.`],
      help: 'Name a time in the past, and look at whether the clock is right.',
    }),
  );
}

/**
 * Fetches and verifies the indexes of a release. The package indexes go through the store, so that an index that has
 * not changed is not fetched again.
 * @throws Failure `source/…` about an index that is not there, not signed or not the one asked for; what `download`
 *   throws
 */
export async function readIndexes(host: Host, request: ArchiveRequest): Promise<ArchiveIndexes> {
  assertPast(host, request);
  host.progress.stage(`reading the indexes of Debian ${request.release}`);
  const { architecture } = request;
  const suites = await Promise.all(suitesOf(request).map((suite) => readSuite(host, suite, request)));
  const files = suites.map((suite) => packagesFileOf(suite, architecture));
  const items = files.map(({ item }) => item);
  const paths = await downloadAll(host, 'fetching package indexes', items, request);
  host.progress.stage('reading package indexes');
  const lists: (readonly PackageRecord[])[] = [];
  for (const [place, file] of files.entries()) {
    lists.push(await readPackages(file, paths[place] ?? ''));
    host.progress.advance(place + 1, files.length, 'files');
  }
  return {
    origins: originsOf(suites, request),
    indexes: suites.map(({ origin, name, release, signer }) => ({
      origin,
      suite: name,
      date: formatDate(release.date),
      signer,
    })),
    index: mergePackages(architecture, lists),
    // one that is asked for by its date is as old as it was meant to be
    diagnostics:
      request.snapshot === undefined ? suites.flatMap((suite) => warnIfOld(suite, host.now())) : [],
  };
}
