import { createHash } from 'node:crypto';
import { lstat, readFile } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { wordsOf } from '../diagnostics/system-words.ts';
import type { Host } from '../host/host.ts';
import { exists } from '../host/output-folder.ts';
import { decodeLatin1, encodeLatin1 } from '../kconfig/latin1.ts';
import { fragmentRequests } from '../kconfig/requests.ts';
import type { Locate } from '../source/locate.ts';
import { unpackedFile } from '../source/unpacked-file.ts';
import { isFetched } from '../spec/spec.ts';
import type { YamlPath } from '../spec/yaml-tree.ts';
import { commandCodes } from './codes.ts';
import { largestFile, runningConfig } from './given-config.ts';
import { listPatches } from './list-patches.ts';
import type { OpenSpec } from './open-spec.ts';
import { besideSpec, resolveInside, unsuitable } from './resolve-inside.ts';

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

/** What a spec begins with, where that is no target of the tree. */
export interface LocalBase extends LocalFile {
  /** As messages call it. */
  readonly name: string;
  /** Where it was taken from, when it is that of this machine and not kept yet. */
  readonly taken?: string;
}

type FoundFile = Omit<LocalBase, 'name'>;
type ReadFile = (host: Host, folder: string, path: string) => Promise<FoundFile>;

/** The files that a spec names, but for its source. */
export interface LocalFiles {
  /** One out of a package comes to it when that is pinned (`withBase`). */
  readonly base?: LocalBase;
  /** Those beside the spec. */
  readonly fragments: readonly LocalFile[];
  readonly patches: readonly LocalPatch[];
}

/**
 * Reads what the spec names.
 *
 * @param root where the files of this machine are
 * @throws Failure `command/file-missing`, `command/file-outside`, `command/file-unsuitable`, `command/no-running-config`,
 *   and with lines of fragments that ask for nothing, all of them at once
 */
export async function readSpecFiles(host: Host, opened: SpecPlaces, root = ''): Promise<LocalFiles> {
  const { spec, path: specPath, folder, sources, place } = opened;
  const failures: Failure[] = [];
  const attempt = async <Value>(instead: Value, at: YamlPath, work: () => Promise<Value>): Promise<Value> => {
    try {
      return await atPlace(place(at), sources, work);
    } catch (error) {
      if (!(error instanceof Failure)) throw error;
      failures.push(error);
      return instead;
    }
  };
  const read = async (readFrom: ReadFile, path: string, ...at: YamlPath): Promise<FoundFile> => {
    const nothing = { path, sha256: '', content: new Uint8Array() };
    return { ...(await attempt(nothing, at, () => readFrom(host, folder, path))), span: place(at) };
  };
  const { base, fragments } = spec.config;
  const listed = await Promise.all(
    spec.patches.map((item, nth) =>
      attempt([], ['patches', nth], () => listPatches(host, opened, item, nth)),
    ),
  );
  const files = {
    ...((base.kind === 'file' || base.kind === 'running') && {
      base: {
        name: besideSpec(specPath, base.path),
        ...(await read(
          base.kind === 'file' ? readCompressed : (...which) => readRunning(...which, root),
          base.path,
          'config',
          'base',
        )),
      },
    }),
    fragments: await Promise.all(
      fragments.flatMap((path, nth) =>
        typeof path === 'string' ? [read(readLocalFile, path, 'config', 'fragments', nth)] : [],
      ),
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
  const texts = [
    ...failures.flatMap((failure) => [...failure.sources]),
    ...files.fragments.map(
      ({ path, content }) => [besideSpec(specPath, path), decodeLatin1(content)] as const,
    ),
  ];
  const faults = files.fragments.flatMap(
    ({ path, content }) => fragmentRequests(decodeLatin1(content), besideSpec(specPath, path)).diagnostics,
  );
  const wrong = [...failures.flatMap(({ diagnostics }) => diagnostics), ...twice, ...faults];
  if (wrong.length > 0) {
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

/** What comes of `work`; its failures say where the spec names what they are about. */
export async function atPlace<Value>(
  span: Span | undefined,
  sources: ReadonlyMap<string, string>,
  work: () => Promise<Value>,
): Promise<Value> {
  return work().catch((error: unknown) => {
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
    throw unsuitable(path, wordsOf(error), error);
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

/** Once it was kept, it is a file like any other: another machine has another configuration. */
async function readRunning(host: Host, folder: string, path: string, root: string): Promise<FoundFile> {
  if (await exists(join(folder, path))) return readCompressed(host, folder, path);
  await resolveInside(host, folder, dirname(path), 'folder');
  const { origin, text } = await runningConfig(root);
  const content = encodeLatin1(text);
  return { path, sha256: createHash('sha256').update(content).digest('hex'), content, taken: origin };
}

/** How a source on this machine is found for a spec that has been read. */
export function locateFor(host: Host, { spec, folder, sources, place }: SpecPlaces): Locate {
  const { source } = spec.kernel;
  return (path, kind) => {
    const key = isFetched(source) ? (path === source.keyring ? 'keyring' : 'signature') : source.kind;
    const span = place(['kernel', 'source', key]);
    return atPlace(span, sources, () => resolveInside(host, folder, path, kind));
  };
}

/** `gauge-station.yaml` has its lock in `gauge-station.lock.json` beside it. */
export function lockPath(specPath: string): string {
  return join(dirname(specPath), `${basename(specPath).replace(/\.ya?ml$/u, '')}.lock.json`);
}
