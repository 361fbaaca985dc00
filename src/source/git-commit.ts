/**
 * A commit of a git repository as a source: the tar that `git archive` makes of it, with every file as it is in the
 * repository. Any machine's git makes the same one.
 */
import { createReadStream } from 'node:fs';
import { rm } from 'node:fs/promises';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { judgeAttempt, noPlaceHas } from '../host/attempts.ts';
import { withClaim } from '../host/claim.ts';
import { digestOf } from '../host/digest-file.ts';
import {
  gitFetch,
  GitRefusal,
  withScratchRepository,
  type GitOptions,
  type ScratchRepository,
} from '../host/git.ts';
import type { Host } from '../host/host.ts';
import { applyMirrors } from '../host/mirrors.ts';
import { networkOf } from '../host/network.ts';
import type { ReceiveOptions } from '../host/receive-file.ts';
import { defaultPauses, withRetries } from '../host/retry.ts';
import type { ExpectedContent, StoredFile } from '../host/store.ts';
import { archiveUmask, plainAttributes } from '../kit/commit-archive.ts';
import type { GitPin, KeyPin } from '../spec/lock.ts';
import { commitFolder } from '../spec/source-text.ts';
import type { GitSource } from '../spec/spec.ts';
import { sourceCodes } from './codes.ts';
import {
  expiredSince,
  formatDate,
  readDetached,
  verifyDetached,
  type GoodSignature,
} from './detached-signature.ts';
import { gatherKeys, type Ring } from './gather-keys.ts';
import type { Locate } from './locate.ts';
import { keysOf } from './signer-keys.ts';
import { mostTar } from './tar-content.ts';

/** Bytes. A commit of a kernel, packed, has a quarter of a gigabyte. */
const mostPacked = 4 * 2 ** 30;

export interface GitRequest {
  readonly source: GitSource;
  /** Keys that were fetched before, and need not be again. */
  readonly keys: readonly KeyPin[];
}

/** As other sources that are fetched are. */
export type FetchCommitOptions = Pick<ReceiveOptions, 'limits' | 'pauses'>;

/** What a repository has by a name. */
interface Found {
  readonly commit: string;
  readonly tree: string;
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
  { source, keys: known }: GitRequest,
  locate: Locate,
  options: FetchCommitOptions = {},
): Promise<{ readonly value: GitPin; readonly diagnostics: readonly Diagnostic[] }> {
  const { url, tag, commit: wanted, signers } = source;
  const ring =
    signers.length === 0 ? undefined : await gatherKeys(host, source, signers, known, locate, options);
  return withScratchRepository(host, plainAttributes, async (repository) => {
    const name = tag === undefined ? (wanted ?? '') : tagRef(tag);
    await fetchName(host, repository, source, name, options);
    const found = await look(repository, source, name);
    if (wanted !== undefined && found.commit !== wanted)
      throw tagDiffers(source, found.commit, wanted, 'spec');
    const signed =
      ring && tag !== undefined ? await verifyTag(host, repository, source, tag, ring) : undefined;
    const { sha256, size } = await storeCommit(host, repository, { ...source, ...found });
    const value: GitPin = {
      kind: 'git',
      url,
      ...(tag !== undefined && { tag }),
      ...found,
      size,
      sha256,
      ...(signed && {
        signature: { sha256: signed.sha256, signer: signed.good.signer, made: formatDate(signed.good.made) },
      }),
      ...(ring?.keyring && { keyring: ring.keyring }),
      keys: ring?.fetched ?? [],
    };
    const diagnostics =
      signed?.good.expiredSince === true ? [expiredSince(`the tag ${tag}`, signed.good)] : [];
    return { value, diagnostics };
  });
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
  if (await host.store.has(pin.sha256)) return;
  await withClaim(host.store.claimPath(pin.sha256), host.signal, async () => {
    if (await host.store.has(pin.sha256)) return;
    await withScratchRepository(host, plainAttributes, async (repository) => {
      await fetchPinned(host, repository, pin, options);
      await storeCommit(host, repository, pin, pin).catch((error: unknown) => {
        throw asWrongTar(error, pin);
      });
    });
  });
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
  const found = await look(repository, pin, tagRef(tag));
  if (found.commit === commit) return;
  // a tag that was moved does not take away what it led to
  await fetchName(host, repository, pin, commit, options).catch((error: unknown) => {
    if (!(error instanceof Failure) || error.diagnostics[0]?.code !== 'source/no-commit') throw error;
    throw tagDiffers(pin, found.commit, commit, 'lock');
  });
}

const tagRef = (tag: string): string => `refs/tags/${tag}`;

async function fetchName(
  host: Host,
  repository: ScratchRepository,
  place: Pick<GitSource, 'url'>,
  name: string,
  { limits, pauses = defaultPauses }: FetchCommitOptions,
): Promise<void> {
  const url = applyMirrors(place.url, networkOf(host).mirrors);
  host.progress.stage('fetching the commit');
  try {
    await withRetries(host.signal, pauses, () =>
      gitFetch(host, repository, url, name, {
        ...(limits && { limits }),
        most: mostPacked,
        onBytes: (count) => host.progress.advance(count, undefined, 'bytes'),
      }),
    );
  } catch (error) {
    if (error instanceof GitRefusal && error.unknownName) throw noCommit(url, name, error);
    if (error instanceof GitRefusal && error.unsound) throw unsound(url, error.message, error);
    throw new Failure(noPlaceHas(place.url, [judgeAttempt(url, error)], [], 'source'), { cause: error });
  }
}

/** @throws Failure `source/no-commit` when the name is not that of a commit, or of a tag that leads to one */
async function look({ git }: ScratchRepository, place: Pick<GitSource, 'url'>, name: string): Promise<Found> {
  const named = async (what: string): Promise<string> =>
    (await git(['rev-parse', '--quiet', '--verify', `${name}^{${what}}`])).stdout.trim();
  const [commit, tree] = [await named('commit'), await named('tree')];
  if (commit === '' || (!name.startsWith('refs/') && commit !== name))
    throw noCommit(place.url, name, new Error('it is there, and is no commit'));
  return { commit, tree };
}

interface SignedTag {
  readonly sha256: string;
  readonly good: GoodSignature;
}

/** A tag that is signed ends with the signature over all that is before it (git's documentation, gitformat-signature(5)). */
async function verifyTag(
  host: Host,
  repository: ScratchRepository,
  { url, signers }: GitSource,
  tag: string,
  ring: Ring,
): Promise<SignedTag> {
  const name = `the tag ${tag}`;
  const object = await tagObject(repository, tagRef(tag));
  const text = object.toString('latin1');
  const at = [...text.matchAll(/^-----BEGIN PGP SIGNATURE-----/gmu)].at(-1)?.index;
  if (at === undefined) {
    throw new Failure(
      sourceCodes.report('source/no-signature', {
        message: `${name} of ${url} is not signed`,
        help: 'A source that nobody has signed is not built: take a tag that is, or take `signers` out of the spec and name the commit, which you know from elsewhere.',
      }),
    );
  }
  // one that was signed under another name says nothing of this one
  const named = /^tag (.*)$/mu.exec(text.slice(0, text.indexOf('\n\n')))?.[1];
  if (named !== tag) {
    throw new Failure(
      sourceCodes.report('source/altered', {
        message: `${name} of ${url} was signed as ${quoted(named ?? 'none', 120)}`,
        help: 'Somebody has given it another name since: take the name that it was signed with, if that is the version you want.',
      }),
    );
  }
  const [signed, bytes] = [object.subarray(0, at), object.subarray(at)];
  const accepted = keysOf(signers, ring.keys, ['the keys']);
  const candidates = await readDetached(
    { bytes, name: `the signature of ${name}` },
    name,
    accepted,
    host.now(),
  );
  const content = (): AsyncIterable<Uint8Array> => only(signed);
  const good = await verifyDetached(candidates, { name, tar: content, file: content }, host.now());
  return { sha256: digestOf(bytes), good };
}

async function* only(bytes: Uint8Array): AsyncGenerator<Uint8Array> {
  yield await Promise.resolve(bytes);
}

/** A tag, byte for byte; nothing where it is but a name for a commit. */
async function tagObject({ git }: ScratchRepository, name: string): Promise<Buffer> {
  const chunks: Uint8Array[] = [];
  const onChunk: GitOptions['onChunk'] = (stream, chunk) => {
    if (stream === 'stdout') chunks.push(chunk);
  };
  const { stdout } = await git(['cat-file', '-t', name]);
  if (stdout.trim() === 'tag') await git(['cat-file', 'tag', name], { onChunk });
  return Buffer.concat(chunks);
}

async function storeCommit(
  host: Host,
  { git }: ScratchRepository,
  { url, commit, tag }: Pick<GitPin, 'url' | 'commit' | 'tag'>,
  expected: ExpectedContent = {},
): Promise<StoredFile> {
  await assertPackable(git, url, commit);
  host.progress.stage('packing the commit');
  const tar = await host.store.asidePath();
  try {
    const prefix = commitFolder({ commit, ...(tag !== undefined && { tag }) });
    const packed = await git(['archive', '--format=tar', `--prefix=${prefix}/`, `--output=${tar}`, commit], {
      settings: { 'tar.umask': archiveUmask },
    });
    if (packed.code !== 0) throw unsound(url, `git does not pack it: ${packed.stderr.trim()}`);
    return await host.store.add(createReadStream(tar) as AsyncIterable<Uint8Array>, expected);
  } finally {
    await rm(tar, { force: true });
  }
}

/** UTF-16 code units: a line for each of a kernel's hundred thousand files has a hundred. */
const mostListed = 256 << 20;

/** A few bytes in a repository can be gigabytes of files; and of another repository inside this one nothing is here. */
async function assertPackable(git: ScratchRepository['git'], url: string, commit: string): Promise<void> {
  const listed = await git(['ls-tree', '-r', '-z', '--long', commit], {
    capture: mostListed,
  });
  if (listed.code !== 0) throw unsound(url, `git does not list it: ${listed.stderr.trim()}`);
  let size = 0;
  for (const [, kind, bytes, path = ''] of listed.stdout.matchAll(
    /\d+ (\w+) [0-9a-f]+ +(\d+|-)\t([^\0]*)\0/gu,
  )) {
    if (kind === 'commit') {
      throw new Failure(
        sourceCodes.report('source/special-file', {
          message: `${quoted(path, 160)} of the commit is a submodule: its files are in another repository`,
          help: 'Take a repository that has all of its files, or a tarball of this one with those of the submodule.',
        }),
      );
    }
    size += Number(bytes);
  }
  if (size > mostTar) {
    throw new Failure(
      sourceCodes.report('source/too-large', {
        message: `the files of the commit ${commit} of ${url} have ${size} bytes, more than any kernel`,
        help: 'See whether it is the repository that it should be.',
      }),
    );
  }
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

function unsound(url: string, why: string, cause?: unknown): Failure {
  return new Failure(
    sourceCodes.report('source/unsound-commit', {
      message: `what ${url} hands out is not what git takes for sound`,
      notes: [why],
      help: 'It was damaged on its way, or the repository is not what it should be: fetch from another place (QUERN_MIRRORS), and do not build from this one.',
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

function asWrongTar(error: unknown, { url, commit, sha256 }: GitPin): unknown {
  const [first] = error instanceof Failure ? error.diagnostics : [];
  if (first?.code !== 'host/wrong-digest' && first?.code !== 'host/wrong-size') return error;
  return new Failure(
    sourceCodes.report('source/wrong-tar', {
      message: `the tar of the commit ${commit} of ${url} is not the one that was pinned`,
      notes: [first.message, `It was pinned with the SHA-256 ${sha256}.`],
      help: 'Either the lock was altered, or the git of this machine packs otherwise: see what has changed, and pin anew (quern pin --refresh source).',
    }),
    { cause: error },
  );
}
