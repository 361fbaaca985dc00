/**
 * A commit of a git repository as a source: the tar that `git archive` makes of it, with every file as it is in the
 * repository. Any machine's git makes the same one.
 */
import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { judgeAttempt, noPlaceHas } from '../host/attempts.ts';
import { withClaim } from '../host/claim.ts';
import { digestOf } from '../host/digest-file.ts';
import {
  gitFetch,
  gitLookUp,
  GitRefusal,
  withScratchRepository,
  type GitLimits,
  type ScratchRepository,
} from '../host/git.ts';
import type { Host } from '../host/host.ts';
import { applyMirrors } from '../host/mirrors.ts';
import { networkOf } from '../host/network.ts';
import type { ReceiveOptions } from '../host/receive-file.ts';
import { defaultPauses, withRetries } from '../host/retry.ts';
import { plainAttributes } from '../kit/commit-archive.ts';
import type { GitPin, KeyPin } from '../spec/lock.ts';
import type { GitSource } from '../spec/spec.ts';
import { sourceCodes } from './codes.ts';
import { catFile, commitOfTar, packCommit, packedBefore, unsound, type PackedCommit } from './commit-tar.ts';
import { expiredSince, formatDate } from './detached-signature.ts';
import { gatherKeys, type Ring } from './gather-keys.ts';
import type { Locate } from './locate.ts';
import { taggedCommit, verifyTag, type SignedTag } from './signed-tag.ts';

/** Bytes. A commit of a kernel, packed, has a quarter of a gigabyte. */
const mostPacked = 4 * 2 ** 30;

export interface GitRequest {
  readonly source: GitSource;
  /** Keys that were fetched before, and need not be again. */
  readonly keys: readonly KeyPin[];
  /** The tag is asked for again, although it was verified before. */
  readonly fresh?: boolean;
}

/** As other sources that are fetched are. */
export interface FetchCommitOptions extends Pick<ReceiveOptions, 'pauses'> {
  readonly limits?: GitLimits;
}

/** What is known of a source by a name. */
interface Found {
  readonly packed: PackedCommit;
  readonly signed: SignedTag | undefined;
}

/**
 * Pins a commit, and brings its tar into the store.
 *
 * @param locate says where a path of the spec is on this machine, or refuses it
 * @throws Failure `source/no-commit`, `source/tag-differs`, `source/unsound-commit`, `source/no-signature`; what is said
 *   about keys and signatures, and about places from which nothing can be fetched
 */
export async function pinCommit(
  host: Host,
  { source, keys: known, fresh }: GitRequest,
  locate: Locate,
  options: FetchCommitOptions = {},
): Promise<{ readonly value: GitPin; readonly diagnostics: readonly Diagnostic[] }> {
  const { url, tag, signers } = source;
  const ring =
    signers.length === 0 ? undefined : await gatherKeys(host, source, signers, known, locate, options);
  // of several that want it, one fetches it
  const claim = host.store.claimPath(digestOf(`git ${url} ${tag ?? ''} ${source.commit ?? ''}`));
  const { packed, signed } = await withClaim(
    claim,
    host.signal,
    async () =>
      (fresh ? undefined : await foundBefore(host, source, ring, options)) ??
      (await find(host, source, ring, options)),
  );
  const value: GitPin = {
    kind: 'git',
    url,
    ...(tag !== undefined && { tag }),
    ...packed,
    ...(signed && {
      signature: { sha256: signed.sha256, signer: signed.good.signer, made: formatDate(signed.good.made) },
    }),
    ...(ring?.keyring && { keyring: ring.keyring }),
    keys: ring?.fetched ?? [],
  };
  const diagnostics = signed?.good.expiredSince === true ? [expiredSince(`the tag ${tag}`, signed.good)] : [];
  return { value, diagnostics };
}

async function find(
  host: Host,
  source: GitSource,
  ring: Ring | undefined,
  options: FetchCommitOptions,
): Promise<Found> {
  const { url, tag, commit: wanted } = source;
  return withScratchRepository(host, plainAttributes, async (repository) => {
    const name = tag === undefined ? (wanted ?? '') : tagRef(tag);
    await fetchName(host, repository, source, name, options);
    const commit = await commitOf(repository, source, name);
    assertWanted(source, commit);
    const signed = ring && tag !== undefined ? await readTag(host, repository, source, tag, ring) : undefined;
    return { packed: await packCommit(host, repository, named(commit, tag), url), signed };
  });
}

/** What was fetched before is looked at like what is fetched now; where no signature vouches for a tag, the server is asked. */
async function foundBefore(
  host: Host,
  source: GitSource,
  ring: Ring | undefined,
  options: FetchCommitOptions,
): Promise<Found | undefined> {
  const { tag, commit: wanted } = source;
  const before = async (
    commit: string | undefined,
    signed: SignedTag | undefined,
  ): Promise<Found | undefined> => {
    const packed = commit === undefined ? undefined : await packedBefore(host, named(commit, tag));
    return packed && { packed, signed };
  };
  if (tag === undefined) return before(wanted, undefined);
  if (!ring) {
    const commit = await askForTag(host, source, tag, options);
    assertWanted(source, commit);
    return before(commit, undefined);
  }
  const object = await host.store.readNamed('fetched', noteOfTag(source, tag));
  const commit = object && taggedCommit(object);
  if (!object || commit === undefined || (wanted ?? commit) !== commit) return undefined;
  const signed = await verifyTag(object, tag, source, ring, host.now()).catch((error: unknown) => {
    if (!(error instanceof Failure)) throw error;
    return undefined;
  });
  return signed && before(commit, signed);
}

function named(commit: string, tag: string | undefined): Pick<GitPin, 'commit' | 'tag'> {
  return { commit, ...(tag !== undefined && { tag }) };
}

function assertWanted(source: GitSource, commit: string): void {
  const { commit: wanted = commit } = source;
  if (commit !== wanted) throw tagDiffers(source, commit, wanted, 'spec');
}

/** A tag that is signed is kept, so that it can be verified again without asking for it. */
async function readTag(
  host: Host,
  { git }: ScratchRepository,
  source: GitSource,
  tag: string,
  ring: Ring,
): Promise<SignedTag> {
  const { stdout } = await git(['cat-file', '-t', tagRef(tag)]);
  const object = stdout.trim() === 'tag' ? await catFile(git, 'tag', tagRef(tag)) : Buffer.alloc(0);
  const signed = await verifyTag(object, tag, source, ring, host.now());
  await host.store.keepNamed('fetched', noteOfTag(source, tag), object);
  return signed;
}

function noteOfTag({ url }: GitSource, tag: string): string {
  return digestOf(`tag ${url} ${tag}`);
}

/**
 * Brings the tar of a pinned commit into the store.
 * @throws Failure `source/no-commit`, `source/tag-differs`, `source/unsound-commit`, `source/wrong-tar`, and why the place
 *   has nothing
 */
export async function fetchPinnedCommit(
  host: Host,
  pin: GitPin,
  options: FetchCommitOptions = {},
): Promise<void> {
  if (await heldCommit(host, pin)) return;
  await withClaim(host.store.claimPath(pin.sha256), host.signal, async () => {
    if (await heldCommit(host, pin)) return;
    await withScratchRepository(host, plainAttributes, async (repository) => {
      await fetchPinned(host, repository, pin, options);
      const { tree } = await packCommit(host, repository, pin, pin.url, pin).catch((error: unknown) => {
        throw asWrongTar(error, pin);
      });
      if (tree !== pin.tree) throw wrongTar(pin, `its tree is ${tree}, and the lock says ${pin.tree}`);
    });
  });
}

/** @throws Failure `source/wrong-tar` when the tar of the lock is not one of its commit */
async function heldCommit(host: Host, pin: GitPin): Promise<boolean> {
  if (!(await host.store.has(pin.sha256))) return false;
  const commit = await commitOfTar(host.store.path(pin.sha256));
  if (commit !== pin.commit)
    throw wrongTar(pin, `it says itself that it is of the commit ${commit ?? 'none'}`);
  return true;
}

/** By itself; where a server knows a commit by its tag alone, by that, if it still leads there. */
async function fetchPinned(
  host: Host,
  repository: ScratchRepository,
  pin: GitPin,
  options: FetchCommitOptions,
): Promise<void> {
  const { tag, commit } = pin;
  if (tag === undefined) return fetchName(host, repository, pin, commit, options);
  try {
    await fetchName(host, repository, pin, tagRef(tag), options);
  } catch (error) {
    if (!(error instanceof Failure) || error.diagnostics[0]?.code !== 'source/no-commit') throw error;
    return fetchName(host, repository, pin, commit, options);
  }
  const found = await commitOf(repository, pin, tagRef(tag));
  if (found === commit) return;
  // a tag that was moved does not take away what it led to
  await fetchName(host, repository, pin, commit, options).catch((error: unknown) => {
    if (!(error instanceof Failure) || error.diagnostics[0]?.code !== 'source/no-commit') throw error;
    throw tagDiffers(pin, found, commit, 'lock');
  });
}

const tagRef = (tag: string): string => `refs/tags/${tag}`;

async function fetchName(
  host: Host,
  repository: ScratchRepository,
  place: Pick<GitSource, 'url'>,
  name: string,
  { limits, pauses }: FetchCommitOptions,
): Promise<void> {
  host.progress.stage('fetching the commit');
  await reach(host, place, name, pauses, (url) =>
    gitFetch(host, repository, url, name, {
      ...(limits && { limits }),
      most: mostPacked,
      onBytes: (count) => host.progress.advance(count, undefined, 'bytes'),
    }),
  );
}

/** The commit that a tag leads to, asked for by itself. */
async function askForTag(
  host: Host,
  source: GitSource,
  tag: string,
  { limits, pauses }: FetchCommitOptions,
): Promise<string> {
  return withScratchRepository(host, plainAttributes, (repository) =>
    reach(host, source, tagRef(tag), pauses, (url) => gitLookUp(host, repository, url, tagRef(tag), limits)),
  );
}

/** @param work with the URL after the machine's mirrors were applied */
async function reach<Value>(
  host: Host,
  place: Pick<GitSource, 'url'>,
  name: string,
  pauses: readonly number[] = defaultPauses,
  work: (url: string) => Promise<Value>,
): Promise<Value> {
  const url = applyMirrors(place.url, networkOf(host).mirrors);
  try {
    return await withRetries(host.signal, pauses, () => work(url));
  } catch (error) {
    if (error instanceof GitRefusal && error.unknownName) throw noCommit(url, name, error);
    if (error instanceof GitRefusal && error.unsound) throw unsound(url, error.message, error);
    throw new Failure(noPlaceHas(place.url, [judgeAttempt(url, error)], [], 'source'), { cause: error });
  }
}

/** @throws Failure `source/no-commit` when the name is not that of a commit, or of a tag that leads to one */
async function commitOf(
  { git }: ScratchRepository,
  place: Pick<GitSource, 'url'>,
  name: string,
): Promise<string> {
  const commit = (await git(['rev-parse', '--quiet', '--verify', `${name}^{commit}`])).stdout.trim();
  if (commit === '' || (!name.startsWith('refs/') && commit !== name))
    throw noCommit(place.url, name, new Error('it is there, and is no commit'));
  return commit;
}

function noCommit(url: string, name: string, cause: Error): Failure {
  const tag = /^refs\/tags\/(.*)$/u.exec(name)?.[1];
  return new Failure(
    sourceCodes.report('source/no-commit', {
      message:
        tag === undefined ? `${url} does not have the commit ${name}` : `${url} has no tag ${quoted(tag)}`,
      notes: [cause.message],
      help:
        tag === undefined
          ? 'See whether it is a commit of this repository. Some servers hand out nothing but what has a name: then name its tag as well.'
          : `git ls-remote --tags ${url} lists those that it has. A branch is no tag: name the commit instead, since a branch moves.`,
    }),
    { cause },
  );
}

function tagDiffers(
  { url, tag = '' }: Pick<GitSource, 'url' | 'tag'>,
  found: string,
  wanted: string,
  whose: 'spec' | 'lock',
): Failure {
  return new Failure(
    sourceCodes.report('source/tag-differs', {
      message: `the tag ${quoted(tag)} of ${url} leads to the commit ${found}, and the ${whose} says ${wanted}`,
      help:
        whose === 'spec'
          ? 'Tags of releases do not move: find out from elsewhere which of the two is right.'
          : 'Tags of releases do not move: find out why this one has. Only then pin it as it is now: quern pin --refresh source.',
    }),
  );
}

function asWrongTar(error: unknown, pin: GitPin): unknown {
  const [first] = error instanceof Failure ? error.diagnostics : [];
  if (first?.code !== 'host/wrong-digest' && first?.code !== 'host/wrong-size') return error;
  return wrongTar(pin, first.message, error);
}

function wrongTar({ url, commit, sha256 }: GitPin, why: string, cause?: unknown): Failure {
  return new Failure(
    sourceCodes.report('source/wrong-tar', {
      message: `the tar of the commit ${commit} of ${url} is not the one that was pinned`,
      notes: [`It was pinned with the SHA-256 ${sha256}; ${why}.`],
      help: 'Either the lock was altered, or the git of this machine packs otherwise: see what has changed, and pin anew (quern pin --refresh source).',
    }),
    { cause },
  );
}
