/** The tar of a commit: how it is made, and found again. */
import { createReadStream } from 'node:fs';
import { open, rm, stat } from 'node:fs/promises';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { digestOf } from '../host/digest-file.ts';
import type { GitOptions, ScratchRepository } from '../host/git.ts';
import type { Host } from '../host/host.ts';
import type { ExpectedContent } from '../host/store.ts';
import { archiveUmask } from '../kit/commit-archive.ts';
import type { GitPin } from '../spec/lock.ts';
import { commitFolder } from '../spec/source-text.ts';
import { sourceCodes } from './codes.ts';
import { objectName } from './git-objects.ts';
import { treeOfArchive } from './git-tree.ts';
import { damaged } from './read-pack.ts';
import { mostTar } from './tar-content.ts';

/** A commit, and the tar of the store that is made of it. */
export type PackedCommit = Pick<GitPin, 'commit' | 'tree' | 'sha256' | 'size'>;

/** What a commit is packed as hangs on its tag, too. */
type Named = Pick<GitPin, 'commit' | 'tag'>;

/**
 * Brings the tar of a commit into the store, and looks whether it has what the commit's tree has.
 *
 * @param url for messages
 * @throws Failure `source/special-file`, `source/too-large`, `source/unsound-commit`; what the store throws
 */
export async function packCommit(
  host: Host,
  { git }: ScratchRepository,
  named: Named,
  url: string,
  expected: ExpectedContent = {},
): Promise<PackedCommit> {
  const { commit } = named;
  await assertPackable(git, url, commit);
  host.progress.stage('packing the commit');
  const object = await catFile(git, 'commit', commit);
  const tree = treeOf(object) ?? '';
  const tar = await host.store.asidePath();
  try {
    const packed = await git(
      ['archive', '--format=tar', `--prefix=${commitFolder(named)}/`, `--output=${tar}`, commit],
      { settings: { 'tar.umask': archiveUmask } },
    );
    if (packed.code !== 0) throw unsound(url, `git does not pack it: ${packed.stderr.trim()}`);
    const found = await treeOfArchive(tar, host.signal).catch((error: unknown) => {
      host.signal.throwIfAborted();
      throw error instanceof Failure ? error : damaged(`the commit ${commit}`, error);
    });
    if (found.tree !== tree) throw uncommon(url, commit, found.tree, tree);
    const { sha256, size } = await host.store.add(
      createReadStream(tar) as AsyncIterable<Uint8Array>,
      expected,
    );
    await host.store.keepNamed('fetched', noteOf(named), Buffer.concat([Buffer.from(`${sha256}\n`), object]));
    return { commit, tree, sha256, size };
  } finally {
    await rm(tar, { force: true });
  }
}

/**
 * A commit that was packed before, if the store still has it. A note of the store is not believed: the commit is what its
 * name says, and names a tree, and the tar has that tree.
 */
export async function packedBefore(host: Host, named: Named): Promise<PackedCommit | undefined> {
  const { commit } = named;
  const note = await host.store.readNamed('fetched', noteOf(named));
  const [, sha256] = /^([0-9a-f]{64})\n/u.exec(note?.toString('latin1', 0, 65) ?? '') ?? [];
  if (!note || sha256 === undefined || !(await host.store.has(sha256))) return undefined;
  const object = note.subarray(65);
  const tree = treeOf(object);
  if (tree === undefined || objectName('commit', object) !== commit) return undefined;
  host.progress.stage('verifying the source');
  const path = host.store.path(sha256);
  const found = await treeOfArchive(path, host.signal).catch(() => undefined);
  host.signal.throwIfAborted();
  if (found?.tree !== tree || [...found.times].some((time) => time !== timeOf(object))) return undefined;
  return { commit, tree, sha256, size: (await stat(path)).size };
}

/** The commit that a tar was made of by git, as it says itself in its first header (git-get-tar-commit-id(1)). */
export async function commitOfTar(path: string): Promise<string | undefined> {
  const handle = await open(path);
  try {
    const { buffer } = await handle.read(Buffer.alloc(1024), 0, 1024, 0);
    return /^52 comment=([0-9a-f]{40})\n/u.exec(buffer.toString('latin1', 512))?.[1];
  } finally {
    await handle.close();
  }
}

/** When it was committed, which is the time of all files in its tar. */
function timeOf(commit: Buffer): number {
  return Number(/^committer .* (\d+) [+-]\d{4}$/mu.exec(commit.toString('latin1'))?.[1]);
}

function noteOf(named: Named): string {
  return digestOf(`commit ${named.commit} ${commitFolder(named)}`);
}

function treeOf(commit: Buffer): string | undefined {
  return /^tree ([0-9a-f]{40})\n/u.exec(commit.toString('latin1'))?.[1];
}

/** An object of a repository, byte for byte. */
export async function catFile(
  git: ScratchRepository['git'],
  kind: 'commit' | 'tag',
  name: string,
): Promise<Buffer> {
  const chunks: Uint8Array[] = [];
  const onChunk: GitOptions['onChunk'] = (stream, chunk) => {
    if (stream === 'stdout') chunks.push(chunk);
  };
  await git(['cat-file', kind, name], { onChunk });
  return Buffer.concat(chunks);
}

/** Of a kernel's source: trees have a tenth of the files. */
const mostFiles = 1_000_000;

/**
 * A few bytes in a repository can be gigabytes of files, or files without end; and of another repository inside this one
 * nothing is here. So the list is looked at while it comes.
 */
async function assertPackable(git: ScratchRepository['git'], url: string, commit: string): Promise<void> {
  let [size, files, rest] = [0, 0, ''];
  const look = (record: string): void => {
    const [, kind, bytes, path = ''] = /^\d+ (\w+) [0-9a-f]+ +(\d+|-)\t([^]*)$/u.exec(record) ?? [];
    if (kind === 'commit') throw submodule(path);
    files += 1;
    size += Number(bytes);
    if (files > mostFiles || size > mostTar) throw tooLarge(url, commit);
  };
  const onChunk: GitOptions['onChunk'] = (stream, chunk) => {
    if (stream !== 'stdout') return;
    const records = (rest + Buffer.from(chunk).toString('latin1')).split('\0');
    rest = records.pop() ?? '';
    for (const record of records) look(record);
  };
  const listed = await git(['ls-tree', '-r', '-z', '--long', commit], { onChunk, capture: 4096 });
  if (listed.code !== 0) throw unsound(url, `git does not list it: ${listed.stderr.trim()}`);
}

function submodule(path: string): Failure {
  return new Failure(
    sourceCodes.report('source/special-file', {
      message: `${quoted(path, 160)} of the commit is a submodule: its files are in another repository`,
      help: 'Take a repository that has all of its files, or a tarball of this one with those of the submodule.',
    }),
  );
}

function tooLarge(url: string, commit: string): Failure {
  return new Failure(
    sourceCodes.report('source/too-large', {
      message: `the commit ${commit} of ${url} has more files, or more in them, than any kernel`,
      notes: [`Up to ${mostFiles} files and ${mostTar} bytes are taken.`],
      help: 'See whether it is the repository that it should be.',
    }),
  );
}

/** What to say of a repository whose objects are not what they should be. @param why in words */
export function unsound(url: string, why: string, cause?: unknown): Failure {
  return new Failure(
    sourceCodes.report('source/unsound-commit', {
      message: `what ${url} hands out is not what git takes for sound`,
      notes: [why],
      help: 'It was damaged on its way, or the repository is not what it should be: fetch from another place (QUERN_MIRRORS), and do not build from this one.',
    }),
    { cause },
  );
}

function uncommon(url: string, commit: string, found: string, tree: string): Failure {
  return new Failure(
    sourceCodes.report('source/special-file', {
      message: `the commit ${commit} of ${url} cannot be packed as it is`,
      notes: [
        `Git calls its tree ${tree}, and that of the tar ${found}.`,
        'Names that are not UTF-8, folders without files, and modes other than 644 and 755 get lost; no kernel has any.',
      ],
      help: 'See whether it is the repository that it should be; or name a tarball.',
    }),
  );
}
