import { chmod, mkdir, mkdtemp, readdir, rename, rm, stat, writeFile } from 'node:fs/promises';
import { basename, dirname, join, resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { folderCodes } from './folder-codes.ts';

/**
 * Makes a folder as a whole: it is filled aside, in a folder beside it, and renamed when `fill` has ended well. When
 * `fill` throws, nothing is left and what was there before stays.
 *
 * @param path must be new, empty, or hold the file `mark`, by which an earlier output of ours is known
 * @throws Failure `host/output-taken`, `host/output-not-writable`, and whatever `fill` throws
 */
export async function makeOutputFolder(
  path: string,
  mark: string,
  fill: (aside: string) => Promise<void>,
): Promise<void> {
  const target = resolve(path);
  await assertFree(target, mark);
  const aside = await makeAside(target);
  try {
    await fill(aside);
    await rm(target, { recursive: true, force: true });
    await rename(aside, target);
  } catch (error) {
    await rm(aside, { recursive: true, force: true });
    throw error;
  }
}

/**
 * Looks before a long work whether its output may go to `path`.
 *
 * @throws Failure `host/output-taken`
 */
export async function assertFree(path: string, mark: string): Promise<void> {
  const names = await readdir(path).catch((error: NodeJS.ErrnoException): string[] => {
    if (error.code === 'ENOENT') return [];
    throw taken(path, error.code === 'ENOTDIR' ? 'it is a file' : error.message, error);
  });
  if (names.length > 0 && !names.includes(mark)) throw taken(path, `it is not empty and holds no ${mark}`);
}

function taken(path: string, why: string, cause?: unknown): Failure {
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
        message: `no folder can be made in ${quoted(dirname(target))}: ${error instanceof Error ? error.message : String(error)}`,
        help: 'Name another folder with -o, or have whoever runs this machine give you the right to write there.',
      }),
      { cause: error },
    );
  }
}

/** Writes files given as path to content, folders as needed. Whatever this process's umask is, they can be read. */
export async function writeFiles(folder: string, files: ReadonlyMap<string, Uint8Array>): Promise<void> {
  for (const [path, content] of files) {
    const target = join(folder, path);
    await mkdir(dirname(target), { recursive: true, mode: 0o755 });
    await writeFile(target, content, { mode: 0o644 });
  }
}

/** Writes a file aside and renames it, so that it is the old one or the new one and never half of it. */
export async function writeWhole(path: string, content: string | Uint8Array): Promise<void> {
  const aside = `${path}.${process.pid}.part`;
  try {
    await writeFile(aside, content);
    await rename(aside, path);
  } catch (error) {
    await rm(aside, { force: true });
    throw new Failure(
      folderCodes.report('host/output-not-writable', {
        message: `${quoted(path)} cannot be written: ${error instanceof Error ? error.message : String(error)}`,
        help: 'See that the folder may be written to and that its disk has room.',
      }),
      { cause: error },
    );
  }
}

/** Whether something is there. */
export async function exists(path: string): Promise<boolean> {
  return stat(path).then(
    () => true,
    () => false,
  );
}
