import { buildMachine } from '../environment/architectures.ts';
import { environmentNeeds } from '../environment/needs.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import { readIndexes, type ArchiveIndexes } from '../source/debian-archive.ts';
import { storeTarball } from '../source/local-tarball.ts';
import { pinDebianSource } from '../source/pin-debian-source.ts';
import { pinPackages } from '../source/pin-packages.ts';
import { pinRemote } from '../source/pin-remote.ts';
import { storeTree } from '../source/tree-archive.ts';
import type { FilePin, Inputs, SourceInputs, SourcePin } from '../spec/lock.ts';
import { isRemote } from '../spec/spec.ts';
import type { OpenSpec } from './open-spec.ts';
import { locateFor, type LocalFile, type LocalFiles } from './spec-files.ts';

/** The first step of `pin`: every input by digest. What is not stale stays as it was pinned before. */
export async function pinInputs(
  host: Host,
  opened: OpenSpec,
  files: LocalFiles,
  stale: { readonly source: boolean; readonly packages: boolean; readonly keys: boolean },
  earlier: Inputs | undefined,
): Promise<{ readonly inputs: Inputs; readonly diagnostics: readonly Diagnostic[] }> {
  const { spec } = opened;
  const fromArchive = spec.kernel.source.kind === 'debian';
  const local = pinFiles(files);
  // what is on this machine may have changed; what is elsewhere stays as it was pinned
  const keptSource =
    earlier && !stale.source && (fromArchive || isRemote(spec.kernel.source)) ? earlier.source : undefined;
  const known = stale.keys ? undefined : earlier?.source;
  if (earlier && !stale.packages && !(stale.source && fromArchive)) {
    const { source, diagnostics } = keptSource
      ? { source: keptSource, diagnostics: [] }
      : await pinOwnSource(host, opened, known);
    // not the files of the earlier pin: there may have been a base then and none now
    const { origins, indexes, packages } = earlier;
    return { inputs: { origins, indexes, source, ...local, packages }, diagnostics };
  }
  const request = { release: spec.environment.debian, architecture: buildMachine };
  const archive = await readIndexes(host, request);
  // Indexes and origins of a lock are those of one day: whatever comes from the archive is pinned together.
  const packages = pinPackages(archive.index, wantedPackages(opened));
  const { source, diagnostics: ofSource } = fromArchive
    ? { source: pinArchiveSource(opened, archive), diagnostics: [] }
    : keptSource
      ? { source: keptSource, diagnostics: [] }
      : await pinOwnSource(host, opened, known);
  const diagnostics = [...archive.diagnostics, ...packages.diagnostics, ...ofSource];
  if (exitOf(diagnostics) !== exitCodes.ok) throw new Failure(diagnostics);
  const { origins, indexes } = archive;
  return { inputs: { origins, indexes, source, ...local, packages: packages.value }, diagnostics };
}

/** The source alone, as much as a configuration takes. */
export async function pinSource(
  host: Host,
  opened: OpenSpec,
): Promise<SourceInputs & { readonly diagnostics: readonly Diagnostic[] }> {
  const { kernel, environment } = opened.spec;
  if (kernel.source.kind !== 'debian') {
    return { origins: {}, ...(await pinOwnSource(host, opened, undefined)) };
  }
  const archive = await readIndexes(host, { release: environment.debian, architecture: buildMachine });
  const { origins, diagnostics } = archive;
  return { origins, source: pinArchiveSource(opened, archive), diagnostics };
}

function wantedPackages({ spec }: OpenSpec): readonly string[] {
  const { gcc, debian } = spec.environment;
  return environmentNeeds({ arch: spec.arch, debian, ...(gcc !== undefined && { gcc }) }).map(
    (need) => need.package,
  );
}

function pinArchiveSource({ spec }: OpenSpec, archive: ArchiveIndexes): SourcePin {
  const { source, version } = spec.kernel;
  if (source.kind !== 'debian') throw new Error('not a source of the archive');
  const { value, diagnostics } = pinDebianSource(archive.index, { package: source.package, version });
  if (value === undefined) throw new Failure(diagnostics);
  return value;
}

/** A source that no archive has. @param earlier pin of it, whose keys are used again */
async function pinOwnSource(
  host: Host,
  opened: OpenSpec,
  earlier: SourcePin | undefined,
): Promise<{ readonly source: SourcePin; readonly diagnostics: readonly Diagnostic[] }> {
  const { spec } = opened;
  const { source, version } = spec.kernel;
  const locate = locateFor(host, opened);
  switch (source.kind) {
    case 'debian':
      throw new Error('a source of the archive');
    case 'tarball': {
      const { sha256, size } = await storeTarball(host, await locate(source.path, 'file'));
      return { source: { kind: 'tarball', path: source.path, sha256, size }, diagnostics: [] };
    }
    case 'tree': {
      const tree = await locate(source.path, 'folder');
      const { sha256, size } = await storeTree(host, tree, { epoch: spec.build.epoch });
      return { source: { kind: 'tree', path: source.path, sha256, size }, diagnostics: [] };
    }
    case 'release':
    case 'url': {
      const keys = earlier && isRemote(earlier) ? earlier.keys : [];
      const { value, diagnostics } = await pinRemote(host, { source, version, keys }, locate);
      return { source: value, diagnostics };
    }
  }
}

function pinFiles({ base, fragments, patches }: LocalFiles): Pick<Inputs, 'base' | 'fragments' | 'patches'> {
  return {
    ...(base && { base: pinFile(base) }),
    fragments: fragments.map(pinFile),
    patches: patches.map(pinFile),
  };
}

function pinFile({ path, sha256 }: LocalFile): FilePin {
  return { path, sha256 };
}
