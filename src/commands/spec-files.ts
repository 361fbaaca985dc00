import { createHash } from 'node:crypto';
import { lstat, readFile, realpath } from 'node:fs/promises';
import { basename, dirname, join, relative, resolve, sep } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import type { Locate } from '../source/locate.ts';
import { unpackedFile } from '../source/unpacked-file.ts';
import { isRemote } from '../spec/spec.ts';
import type { YamlPath } from '../spec/yaml-tree.ts';
import { commandCodes } from './codes.ts';
import type { OpenSpec } from './open-spec.ts';

/** A file beside the spec, as it is now. */
export interface LocalFile {
  /** Relative to the spec's folder, as the spec names it. */
  readonly path: string;
  /** Of the file as it is; a base may be compressed. */
  readonly sha256: string;
  /** Unpacked. */
  readonly content: Uint8Array;
  /** Where the spec names it. */
  readonly span?: Span | undefined;
}

/** A spec, and where in its text what stands. */
type SpecPlaces = Pick<OpenSpec, 'spec' | 'folder' | 'sources' | 'place'>;

/** The files that a spec names, but for its source. */
export interface LocalFiles {
  readonly base?: LocalFile;
  readonly fragments: readonly LocalFile[];
  readonly patches: readonly LocalFile[];
}

/** Packed or unpacked: nothing that a person writes as a fragment, a configuration or a patch comes near this. Bytes. */
export const largestFile: number = 64 * 1024 * 1024;

/**
 * Reads what the spec names.
 *
 * @throws Failure `command/file-missing`, `command/file-outside`, `command/file-unsuitable`, all of them at once
 */
export async function readSpecFiles(host: Host, opened: SpecPlaces): Promise<LocalFiles> {
  const { spec, folder, sources, place } = opened;
  const failures: Failure[] = [];
  const read = async (readFrom: typeof readLocalFile, path: string, ...at: YamlPath): Promise<LocalFile> => {
    const span = place(at);
    try {
      return { ...(await namedAt(span, sources, readFrom(host, folder, path))), span };
    } catch (error) {
      if (!(error instanceof Failure)) throw error;
      failures.push(error);
      return { path, sha256: '', content: new Uint8Array() };
    }
  };
  const { base, fragments } = spec.config;
  const files = {
    ...(base.kind === 'file' && { base: await read(readConfiguration, base.path, 'config', 'base') }),
    fragments: await Promise.all(
      fragments.map((path, nth) => read(readLocalFile, path, 'config', 'fragments', nth)),
    ),
    patches: await Promise.all(spec.patches.map((path, nth) => read(readLocalFile, path, 'patches', nth))),
  };
  if (failures.length > 0) {
    throw new Failure(
      failures.flatMap(({ diagnostics }) => diagnostics),
      { sources },
    );
  }
  return files;
}

/** What comes of `work`; its failures say where the spec names the file that they are about. */
async function namedAt<Value>(
  span: Span | undefined,
  sources: ReadonlyMap<string, string>,
  work: Promise<Value>,
): Promise<Value> {
  return work.catch((error: unknown) => {
    if (!(error instanceof Failure) || span === undefined) throw error;
    const diagnostics = error.diagnostics.map((one) => ({ span, ...one }));
    throw new Failure(diagnostics, { cause: error.cause, sources });
  });
}

async function readLocalFile(host: Host, folder: string, path: string): Promise<LocalFile> {
  const real = await resolveInside(host, folder, path);
  const { size } = await lstat(real);
  if (size > largestFile) throw unsuitable(path, `it has ${size} bytes`);
  const content = await readFile(real).catch((error: NodeJS.ErrnoException) => {
    throw unsuitable(path, error.message, error);
  });
  return { path, sha256: createHash('sha256').update(content).digest('hex'), content };
}

async function readConfiguration(host: Host, folder: string, path: string): Promise<LocalFile> {
  const file = await readLocalFile(host, folder, path);
  const content = await unpackedFile(file.content, largestFile).catch((error: Error) => {
    throw unsuitable(path, error.message, error);
  });
  return { ...file, content };
}

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
        message: `the spec names ${quoted(path)}, which ${error.code === 'ENOENT' ? 'is not there' : `cannot be reached: ${error.message}`}`,
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
        help: `Copy the file into the spec's folder, or allow its folder on this machine: QUERN_ALLOWED_FOLDERS=${dirname(real)}`,
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

/** How a source on this machine is found for a spec that has been read. */
export function locateFor(host: Host, { spec, folder, sources, place }: SpecPlaces): Locate {
  const { source } = spec.kernel;
  return (path, kind) => {
    const key = isRemote(source) ? (path === source.keyring ? 'keyring' : 'signature') : source.kind;
    const span = place(['kernel', 'source', key]);
    return namedAt(span, sources, resolveInside(host, folder, path, kind));
  };
}

function isInside(home: string, path: string): boolean {
  const way = relative(resolve(home), path);
  return way !== '..' && !way.startsWith(`..${sep}`);
}

function unsuitable(path: string, why: string, cause?: unknown): Failure {
  return new Failure(
    commandCodes.report('command/file-unsuitable', {
      message: `the spec names ${quoted(path)}, which cannot be used: ${why}`,
      help: 'See that the spec names the right file.',
    }),
    { cause },
  );
}

/** `gauge-station.yaml` has its lock in `gauge-station.lock.json` beside it. */
export function lockPath(specPath: string): string {
  return join(dirname(specPath), `${basename(specPath).replace(/\.ya?ml$/u, '')}.lock.json`);
}
