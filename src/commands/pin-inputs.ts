import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { buildMachine } from '../environment/architectures.ts';
import type { Need } from '../environment/need.ts';
import type { Host } from '../host/host.ts';
import type { PackageRecord } from '../environment/package-record.ts';
import { readIndexes, type ArchiveIndexes } from '../source/debian-archive.ts';
import { pinDebianConfig } from '../source/debian-config.ts';
import { fetchImage } from '../source/fetch-image.ts';
import { readImageSystem } from '../source/image-system.ts';
import { foldedCase } from '../source/folded-case.ts';
import { pinCommit } from '../source/git-commit.ts';
import { storeTarball } from '../source/local-tarball.ts';
import { pinDebianSource } from '../source/pin-debian-source.ts';
import { pinImage } from '../source/pin-image.ts';
import { pinPackages } from '../source/pin-packages.ts';
import { pinRemote } from '../source/pin-remote.ts';
import { storeTree } from '../source/tree-archive.ts';
import type { StaleParts } from '../spec/compare-lock.ts';
import { configMachine } from '../spec/config-text.ts';
import type {
  FilePin,
  ImagePin,
  Inputs,
  PackagedConfigPin,
  RegistryImage,
  SourceInputs,
  SourcePin,
} from '../spec/lock.ts';
import { isFetched } from '../spec/spec.ts';
import type { OpenSpec } from './open-spec.ts';
import { pinPatch } from './pinned-files.ts';
import { atPlace, locateFor, type LocalFile, type LocalFiles } from './spec-files.ts';

export interface PinnedInputs {
  readonly inputs: Inputs;
  readonly diagnostics: readonly Diagnostic[];
}

/** The inputs of a spec: its source first, since what packages it takes is known only when its configuration is. */
export interface Pinning {
  readonly source: SourceInputs & Pick<Inputs, 'base'>;
  /** All inputs, with an environment in which these packages are; always the same for the same packages. */
  readonly withPackages: (needs: readonly Need[]) => Promise<PinnedInputs>;
}

/** The first step of `pin`: every input by digest. What is not stale, and still enough, stays as it was pinned before. */
export async function startPinning(
  host: Host,
  opened: OpenSpec,
  files: LocalFiles,
  stale: Pick<StaleParts, 'source' | 'base' | 'image' | 'packages'> & { readonly keys: boolean },
  earlier: Inputs | undefined,
): Promise<Pinning> {
  const { spec } = opened;
  const fromArchive = spec.kernel.source.kind === 'debian';
  const packagedBase = spec.config.base.kind === 'debian';
  const archive = archiveReader(host, opened);
  let looking: Promise<ImageBase | undefined> | undefined;
  const base = (): Promise<ImageBase | undefined> =>
    (looking ??= pinBase(host, opened, stale.image ? undefined : earlier?.image));
  const kept =
    stale.packages || (stale.source && fromArchive) || (stale.base && packagedBase) ? undefined : earlier;
  const own = fromArchive ? undefined : await ownSource();
  const local = { ...(await basePin(kept)), ...pinFiles(files) };
  const source = {
    ...(own
      ? { origins: kept?.origins ?? (packagedBase ? (await archive()).origins : {}), source: own.source }
      : (kept ?? archiveSource(opened, await archive()))),
    ...(local.base && { base: local.base }),
  };
  const ofSource = own?.diagnostics ?? [];
  return {
    source,
    withPackages: async (needs) => {
      if (kept && needs.every((need) => hasPackage(kept, need.package))) {
        const { origins, indexes, image, packages } = kept;
        // not the files of the earlier pin: there may have been a base then and none now
        const inputs = {
          origins,
          indexes,
          source: source.source,
          ...local,
          ...(image && { image }),
          packages,
        };
        return { inputs, diagnostics: ofSource };
      }
      const { index, indexes, origins, ...read } = await archive();
      // Indexes and origins of a lock are those of one day: whatever comes from the archive is pinned together.
      const image = await base();
      const wanted = needs.map((need) => need.package);
      const packages = pinPackages(index, wanted, image?.installed);
      const diagnostics = [...read.diagnostics, ...packages.diagnostics, ...ofSource];
      if (exitOf(diagnostics) !== exitCodes.ok) throw new Failure(diagnostics);
      const pinned = fromArchive ? archiveSource(opened, await archive()) : source;
      return {
        inputs: {
          origins,
          indexes,
          source: pinned.source,
          ...local,
          ...(await basePin(undefined)),
          ...(image && { image: imageFor(image, wanted) }),
          packages: packages.value,
        },
        diagnostics,
      };
    },
  };

  /** @param from inputs in which one out of a package stays as it is */
  async function basePin(from: Inputs | undefined): Promise<Pick<Inputs, 'base'>> {
    if (!packagedBase) return files.base ? { base: pinFile(files.base) } : {};
    if (from?.base) return { base: from.base };
    return { base: await pinPackagedBase(host, opened, archive) };
  }

  /** What is on this machine may have changed; what is elsewhere stays as it was pinned. */
  async function ownSource(): Promise<OwnSource> {
    if (earlier && !stale.source && isFetched(spec.kernel.source))
      return { source: earlier.source, diagnostics: [] };
    return pinOwnSource(host, opened, stale.keys ? undefined : earlier?.source, stale.keys);
  }
}

/** Whether an environment of these inputs has a package that a configuration takes. */
export function hasPackage({ image, packages }: Pick<Inputs, 'image' | 'packages'>, name: string): boolean {
  return image?.packages.includes(name) === true || packages.some((pin) => pin.package === name);
}

/** An image that the environment begins with, and what is installed in it. */
interface ImageBase {
  readonly pin: RegistryImage;
  readonly installed: readonly PackageRecord[];
}

/** @param earlier one that was pinned before and is to stay, whatever its tag leads to by now */
async function pinBase(
  host: Host,
  { spec }: OpenSpec,
  earlier: RegistryImage | undefined,
): Promise<ImageBase | undefined> {
  const { image, debian } = spec.environment;
  if (image === undefined) return undefined;
  const pin = earlier ?? (await pinImage(host, image, buildMachine));
  await fetchImage(host, pin);
  return { pin, installed: await readImageSystem(host, pin, debian) };
}

function imageFor({ pin, installed }: ImageBase, wanted: readonly string[]): ImagePin {
  const there = new Set(installed.map((record) => record.package));
  return { ...pin, packages: wanted.filter((name) => there.has(name)).toSorted() };
}

/** The source alone, as much as a configuration takes. */
export async function pinSource(
  host: Host,
  opened: OpenSpec,
  archive: ArchiveReader = archiveReader(host, opened),
): Promise<SourceInputs & { readonly diagnostics: readonly Diagnostic[] }> {
  if (opened.spec.kernel.source.kind !== 'debian') {
    return { origins: {}, ...(await pinOwnSource(host, opened, undefined)) };
  }
  const { diagnostics, ...indexes } = await archive();
  return { ...archiveSource(opened, indexes), diagnostics };
}

/**
 * A base out of a package, as the archive has it now.
 *
 * @throws Failure `source/no-debian-config`, and what reading the archive throws
 */
export async function pinPackagedBase(
  host: Host,
  { spec, place, sources }: OpenSpec,
  archive: ArchiveReader,
): Promise<PackagedConfigPin> {
  const { base } = spec.config;
  if (base.kind !== 'debian') throw new Error('no base out of a package');
  return atPlace(place(['config', 'base']), sources, async () =>
    pinDebianConfig(host, await archive(configMachine(base.config)), base),
  );
}

/** Reads the indexes of the spec's release, for a machine as Debian calls it: each once. */
export type ArchiveReader = (machine?: string) => Promise<ArchiveIndexes>;

export function archiveReader(host: Host, { spec }: OpenSpec): ArchiveReader {
  const { debian, snapshot } = spec.environment;
  const readings = new Map<string, Promise<ArchiveIndexes>>();
  return (machine = buildMachine) => {
    const known =
      readings.get(machine) ?? readIndexes(host, { release: debian, architecture: machine, snapshot });
    readings.set(machine, known);
    return known;
  };
}

function archiveSource(
  { spec }: OpenSpec,
  { origins, index }: Pick<ArchiveIndexes, 'origins' | 'index'>,
): SourceInputs {
  const { source, version } = spec.kernel;
  if (source.kind !== 'debian') throw new Error('not a source of the archive');
  const { value, diagnostics } = pinDebianSource(index, { package: source.package, version });
  if (value === undefined) throw new Failure(diagnostics);
  return { origins, source: value };
}

interface OwnSource {
  readonly source: SourcePin;
  readonly diagnostics: readonly Diagnostic[];
}

/** A source that no archive has. @param earlier pin of it, whose keys are used again @param fresh what may have moved is looked up again */
async function pinOwnSource(
  host: Host,
  opened: OpenSpec,
  earlier: SourcePin | undefined,
  fresh: boolean = false,
): Promise<OwnSource> {
  const { spec } = opened;
  const { source, version } = spec.kernel;
  const locate = locateFor(host, opened);
  const keys = earlier && isFetched(earlier) ? earlier.keys : [];
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
      const diagnostics = await foldedCase(tree);
      return { source: { kind: 'tree', path: source.path, sha256, size }, diagnostics };
    }
    case 'release':
    case 'url': {
      const { value, diagnostics } = await pinRemote(host, { source, version, keys }, locate);
      return { source: value, diagnostics };
    }
    case 'git': {
      const { value, diagnostics } = await pinCommit(host, { source, keys, fresh }, locate);
      return { source: value, diagnostics };
    }
  }
}

function pinFiles({ fragments, patches }: LocalFiles): Pick<Inputs, 'fragments' | 'patches'> {
  return {
    fragments: fragments.map(pinFile),
    patches: patches.map(pinPatch),
  };
}

function pinFile({ path, sha256 }: LocalFile): FilePin {
  return { path, sha256 };
}
