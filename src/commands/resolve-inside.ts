/** Where the paths of a spec lead on this machine. */
import { lstat, realpath } from 'node:fs/promises';
import { dirname, join, relative, resolve, sep } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted, shellTyped } from '../diagnostics/printable.ts';
import { wordsOf } from '../diagnostics/system-words.ts';
import type { Host } from '../host/host.ts';
import { commandCodes } from './codes.ts';

/**
 * Where a path of a spec really leads. A spec may come from a stranger: neither `..` nor a symbolic link may take it
 * out of its folder, except into the folders that the machine's setting `QUERN_ALLOWED_FOLDERS` (colon-separated) names.
 *
 * @throws Failure `command/file-missing`, `command/file-outside`, `command/file-unsuitable`
 */
export async function resolveInside(
  host: Host,
  folder: string,
  path: string,
  kind: 'file' | 'folder' = 'file',
): Promise<string> {
  const real = await realpath(join(folder, path)).catch((error: NodeJS.ErrnoException) => {
    throw new Failure(
      commandCodes.report('command/file-missing', {
        message: `the spec names ${quoted(path)}, which ${error.code === 'ENOENT' ? 'is not there' : `cannot be reached: ${wordsOf(error)}`}`,
        notes: [`Looked for in ${quoted(folder)}: paths are relative to the spec.`],
        help: 'Bring the file, or correct the path in the spec.',
      }),
      { cause: error },
    );
  });
  const allowed = (host.env['QUERN_ALLOWED_FOLDERS'] ?? '').split(':').filter(Boolean);
  const homes = await Promise.all([folder, ...allowed].map((home) => realpath(home).catch(() => home)));
  if (!homes.some((home) => isInside(home, real))) {
    throw new Failure(
      commandCodes.report('command/file-outside', {
        message: `the spec names ${quoted(path)}, which lies outside of the spec's folder`,
        notes: ['A spec may come from a stranger: it reads nothing but what lies beside it.'],
        help: `Copy the file into the spec's folder, or allow its folder on this machine: QUERN_ALLOWED_FOLDERS=${shellTyped(dirname(real))}`,
      }),
    );
  }
  const found = await lstat(real);
  if (kind === 'file' ? !found.isFile() : !found.isDirectory()) throw unsuitable(path, `it is not a ${kind}`);
  return real;
}

/** A path of a spec as whoever named the spec would name it. @param specPath as on the command line */
export function besideSpec(specPath: string, path: string): string {
  return join(dirname(specPath), path);
}

function isInside(home: string, path: string): boolean {
  const way = relative(resolve(home), path);
  return way !== '..' && !way.startsWith(`..${sep}`);
}

/** A file that the spec names cannot be used. @param why words that go behind the file's name */
export function unsuitable(path: string, why: string, cause?: unknown): Failure {
  return new Failure(
    commandCodes.report('command/file-unsuitable', {
      message: `the spec names ${quoted(path)}, which cannot be used: ${why}`,
      help: 'See that the spec names the right file.',
    }),
    { cause },
  );
}
