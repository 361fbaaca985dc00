import { randomBytes } from 'node:crypto';
import {
  chmod,
  lstat,
  mkdir,
  mkdtemp,
  readdir,
  readFile,
  realpath,
  rename,
  rm,
  stat,
  writeFile,
} from 'node:fs/promises';
import { basename, dirname, join, resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { wordsOf } from '../diagnostics/system-words.ts';
import { folderCodes } from './folder-codes.ts';

/** How an earlier output of ours is known, so that it may be replaced. */
export interface Ours {
  /** A file that each of them has, and a text that is in it. */
  readonly mark: string;
  readonly says: string;
  /** Whether a name at the top of the folder is one that we write; anything else there is somebody's own. */
  owns(name: string): boolean;
}

/**
 * Makes a folder as a whole: it is filled aside, in a folder beside it, and takes its place when `fill` has ended well.
 * When `fill` throws, nothing is left and what was there before stays.
 *
 * @param path must be new, empty, or an earlier output of ours
 * @throws Failure `host/output-taken`, `host/output-not-writable`, and whatever `fill` throws
 */
export async function makeOutputFolder(
  path: string,
  ours: Ours,
  fill: (aside: string) => Promise<void>,
): Promise<void> {
  const target = resolve(path);
  await assertFree(target, ours);
  const aside = await makeAside(target);
  try {
    await fill(aside);
    // what has come there meanwhile is not ours to remove
    await assertFree(target, ours);
    await replace(target, aside);
  } catch (error) {
    await rm(aside, { recursive: true, force: true });
    throw error;
  }
}

/** The old folder goes out of the way, the new one into its place, and only then the old one is removed. */
async function replace(target: string, aside: string): Promise<void> {
  const old = `${aside}.old`;
  if (await exists(target)) await rename(target, old);
  await rename(aside, target);
  await rm(old, { recursive: true, force: true });
}

/**
 * Looks before a long work whether its output may go to `path`.
 *
 * @throws Failure `host/output-taken`
 */
export async function assertFree(path: string, ours: Ours): Promise<void> {
  const found = await lstat(path).catch((error: NodeJS.ErrnoException) => {
    if (error.code === 'ENOENT') return undefined;
    throw outputTaken(path, wordsOf(error), error);
  });
  if (!found) return;
  if (!found.isDirectory()) throw outputTaken(path, found.isSymbolicLink() ? 'it is a link' : 'it is a file');
  if (found.dev !== (await lstat(dirname(path))).dev) {
    throw outputTaken(
      path,
      'something is mounted there, which cannot be replaced as a whole: name a folder inside it',
    );
  }
  const names = await readdir(path);
  if (names.length === 0) return;
  const foreign = names.find((name) => !ours.owns(name));
  if (foreign !== undefined)
    throw outputTaken(path, `it holds ${quoted(foreign)}, which is not of an earlier output`);
  const said = await readFile(join(path, ours.mark), 'utf8').catch(() => '');
  if (!said.includes(ours.says))
    throw outputTaken(path, `it is not empty, and no ${ours.mark} of ours is in it`);
}

/** An output cannot go where it is to go. @param why words that go behind the path */
export function outputTaken(path: string, why: string, cause?: unknown): Failure {
  return new Failure(
    folderCodes.report('host/output-taken', {
      message: `the output cannot go to ${quoted(path)}: ${why}`,
      notes: ['An output folder must be new, empty, or an earlier output of the same command.'],
      help: 'Name another folder with -o, or look into this one and remove it yourself.',
    }),
    { cause },
  );
}

async function makeAside(target: string): Promise<string> {
  try {
    await mkdir(dirname(target), { recursive: true });
    const aside = await mkdtemp(join(dirname(target), `.${basename(target)}.`));
    // mkdtemp makes folders that nobody else may enter; an output is there to be read
    await chmod(aside, 0o755);
    return aside;
  } catch (error) {
    throw new Failure(
      folderCodes.report('host/output-not-writable', {
        message: `no folder can be made in ${quoted(dirname(target))}: ${wordsOf(error)}`,
        help: 'Name another folder with -o, or have whoever runs this machine give you the right to write there.',
      }),
      { cause: error },
    );
  }
}

/**
 * Writes files given as path to content, folders as needed. Whatever this process's umask is, they can be read.
 * @throws Failure `host/output-not-writable`
 */
export async function writeFiles(folder: string, files: ReadonlyMap<string, Uint8Array>): Promise<void> {
  for (const [path, content] of files) {
    const target = join(folder, path);
    try {
      await makeReadable(dirname(target));
      await writeFile(target, content);
      await chmod(target, 0o644);
    } catch (error) {
      throw notWritten(target, error);
    }
  }
}

/** Makes a folder that everybody may read, and those around it that are not there: a mode given to mkdir is cut by the umask. */
export async function makeReadable(folder: string): Promise<void> {
  const inner = resolve(folder);
  const outermost = await mkdir(inner, { recursive: true });
  if (outermost === undefined) return;
  for (let made = inner; made.length >= outermost.length; made = dirname(made)) await chmod(made, 0o755);
}

/** Writes a file aside and renames it, so that it is the old one or the new one and never half of it, whoever else writes. */
export async function writeWhole(path: string, content: string | Uint8Array): Promise<void> {
  const aside = `${path}.${process.pid}-${randomBytes(4).toString('hex')}.part`;
  try {
    await writeFile(aside, content);
    await rename(aside, path);
  } catch (error) {
    // where a part of the path is a file, even this fails; why nothing was written is what counts
    await rm(aside, { force: true }).catch(() => undefined);
    throw notWritten(path, error);
  }
}

/** A file cannot be written. @param error why */
export function notWritten(path: string, error: unknown): Failure {
  const gone = error instanceof Error && 'code' in error && error.code === 'ENOENT';
  return new Failure(
    folderCodes.report('host/output-not-writable', {
      message: `${quoted(path)} cannot be written: ${gone ? 'there is no such folder' : wordsOf(error)}`,
      help: gone
        ? 'Make the folder first, or name another.'
        : 'See that the folder may be written to and that its disk has room.',
    }),
    { cause: error },
  );
}

/**
 * Writes what somebody wants in a file that they named: through a link, and into a pipe or a device as it is.
 *
 * @param readFrom files that the content was made of, absolute; none of them is written over
 * @throws Failure `host/output-is-input`, `host/output-not-writable`
 */
export async function writeNamed(
  path: string,
  content: string | Uint8Array,
  readFrom: readonly string[],
): Promise<void> {
  const real = await realPath(path);
  if ((await Promise.all(readFrom.map(realPath))).includes(real)) {
    throw new Failure(
      folderCodes.report('host/output-is-input', {
        message: `${quoted(path)} is one of the files that this was made of`,
        help: 'Name another file; nothing was written.',
      }),
    );
  }
  const found = await stat(real).catch(() => undefined);
  if (found?.isDirectory()) {
    throw new Failure(
      folderCodes.report('host/output-not-writable', {
        message: `${quoted(path)} is a folder`,
        help: 'Name a file in it.',
      }),
    );
  }
  if (!found || found.isFile()) return writeWhole(real, content);
  await writeFile(real, content).catch((error: unknown) => {
    throw notWritten(path, error);
  });
}

/** Where a path leads, also one whose last part is not there yet. */
function realPath(path: string): Promise<string> {
  return realpath(path).catch(() => path);
}

/** Whether something is there. */
export async function exists(path: string): Promise<boolean> {
  return stat(path).then(
    () => true,
    () => false,
  );
}
