import { createHash } from 'node:crypto';
import { lstat, readFile } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import type { Locate } from '../source/locate.ts';
import { unpackedFile } from '../source/unpacked-file.ts';
import { isRemote } from '../spec/spec.ts';
import type { YamlPath } from '../spec/yaml-tree.ts';
import { commandCodes } from './codes.ts';
import { listPatches } from './list-patches.ts';
import type { OpenSpec } from './open-spec.ts';
import { resolveInside, unsuitable } from './resolve-inside.ts';

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

/** A patch, whichever item of the spec it comes from, and how it is applied. */
export interface LocalPatch extends LocalFile {
  readonly strip: number;
  readonly reverse: boolean;
  readonly fuzz: number;
}

/** A spec, and where in its text what stands. */
type SpecPlaces = Pick<OpenSpec, 'spec' | 'path' | 'folder' | 'sources' | 'place'>;

/** The files that a spec names, but for its source. */
export interface LocalFiles {
  readonly base?: LocalFile;
  readonly fragments: readonly LocalFile[];
  readonly patches: readonly LocalPatch[];
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
  const attempt = async <Value>(instead: Value, at: YamlPath, work: Promise<Value>): Promise<Value> => {
    try {
      return await namedAt(place(at), sources, work);
    } catch (error) {
      if (!(error instanceof Failure)) throw error;
      failures.push(error);
      return instead;
    }
  };
  const read = async (readFrom: typeof readLocalFile, path: string, ...at: YamlPath): Promise<LocalFile> => {
    const nothing = { path, sha256: '', content: new Uint8Array() };
    return { ...(await attempt(nothing, at, readFrom(host, folder, path))), span: place(at) };
  };
  const { base, fragments } = spec.config;
  const listed = await Promise.all(
    spec.patches.map((item, nth) => attempt([], ['patches', nth], listPatches(host, opened, item, nth))),
  );
  const files = {
    ...(base.kind === 'file' && { base: await read(readCompressed, base.path, 'config', 'base') }),
    fragments: await Promise.all(
      fragments.map((path, nth) => read(readLocalFile, path, 'config', 'fragments', nth)),
    ),
    patches: await Promise.all(
      listed.flat().map(async ({ item, ...patch }) => ({
        ...patch,
        ...(await read(readCompressed, patch.path, 'patches', item)),
      })),
    ),
  };
  const twice = listed
    .flat()
    .flatMap(({ path, item }, nth, all) =>
      all.findIndex((other) => other.path === path) < nth ? [patchTwice(path, place(['patches', item]))] : [],
    );
  const wrong = [...failures.flatMap(({ diagnostics }) => diagnostics), ...twice];
  if (wrong.length > 0) {
    const texts = failures.flatMap((failure) => [...failure.sources]);
    throw new Failure(wrong, { sources: new Map([...sources, ...texts]) });
  }
  return files;
}

function patchTwice(path: string, span: Span | undefined): Diagnostic {
  return commandCodes.report('command/patch-twice', {
    message: `the patch ${quoted(path, 120)} is named twice: by two items of the spec, or twice in a series`,
    span,
    help: 'A patch is applied once: narrow the pattern, or take one of the two out.',
  });
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
    throw new Failure(diagnostics, {
      cause: error.cause,
      sources: new Map([...sources, ...error.sources]),
    });
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

/** Configurations and patches come compressed with gzip or xz, too. */
async function readCompressed(host: Host, folder: string, path: string): Promise<LocalFile> {
  const file = await readLocalFile(host, folder, path);
  const content = await unpackedFile(file.content, largestFile).catch((error: Error) => {
    throw unsuitable(path, error.message, error);
  });
  return { ...file, content };
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

/** `gauge-station.yaml` has its lock in `gauge-station.lock.json` beside it. */
export function lockPath(specPath: string): string {
  return join(dirname(specPath), `${basename(specPath).replace(/\.ya?ml$/u, '')}.lock.json`);
}
