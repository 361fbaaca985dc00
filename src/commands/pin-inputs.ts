import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { buildMachine } from '../environment/architectures.ts';
import type { Need } from '../environment/need.ts';
import type { Host } from '../host/host.ts';
import type { PackageRecord } from '../environment/package-record.ts';
import { readIndexes, type ArchiveIndexes } from '../source/debian-archive.ts';
import { fetchImage } from '../source/fetch-image.ts';
import { readImageSystem } from '../source/image-system.ts';
import { foldedCase } from '../source/folded-case.ts';
import { storeTarball } from '../source/local-tarball.ts';
import { pinDebianSource } from '../source/pin-debian-source.ts';
import { pinImage } from '../source/pin-image.ts';
import { pinPackages } from '../source/pin-packages.ts';
import { pinRemote } from '../source/pin-remote.ts';
import { storeTree } from '../source/tree-archive.ts';
import type { StaleParts } from '../spec/compare-lock.ts';
import type { FilePin, ImagePin, Inputs, RegistryImage, SourceInputs, SourcePin } from '../spec/lock.ts';
import { isRemote } from '../spec/spec.ts';
import type { OpenSpec } from './open-spec.ts';
import { pinPatch } from './pinned-files.ts';
import { locateFor, type LocalFile, type LocalFiles } from './spec-files.ts';

export interface PinnedInputs {
  readonly inputs: Inputs;
  readonly diagnostics: readonly Diagnostic[];
}

/** The inputs of a spec: its source first, since what packages it takes is known only when its configuration is. */
export interface Pinning {
  readonly source: SourceInputs;
  /** All inputs, with an environment in which these packages are; always the same for the same packages. */
  readonly withPackages: (needs: readonly Need[]) => Promise<PinnedInputs>;
}

/** The first step of `pin`: every input by digest. What is not stale, and still enough, stays as it was pinned before. */
export async function startPinning(
  host: Host,
  opened: OpenSpec,
  files: LocalFiles,
  stale: Pick<StaleParts, 'source' | 'image' | 'packages'> & { readonly keys: boolean },
  earlier: Inputs | undefined,
): Promise<Pinning> {
  const { spec } = opened;
  const fromArchive = spec.kernel.source.kind === 'debian';
  const local = pinFiles(files);
  let reading: Promise<ArchiveIndexes> | undefined;
  const archive = (): Promise<ArchiveIndexes> => (reading ??= readArchive(host, opened));
  let looking: Promise<ImageBase | undefined> | undefined;
  const base = (): Promise<ImageBase | undefined> =>
    (looking ??= pinBase(host, opened, stale.image ? undefined : earlier?.image));
  const kept = stale.packages || (stale.source && fromArchive) ? undefined : earlier;
  const own = fromArchive ? undefined : await ownSource();
  const source = own
    ? { origins: kept?.origins ?? {}, source: own.source }
    : (kept ?? archiveSource(opened, await archive()));
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
          ...(image && { image: imageFor(image, wanted) }),
          packages: packages.value,
        },
        diagnostics,
      };
    },
  };

  /** What is on this machine may have changed; what is elsewhere stays as it was pinned. */
  async function ownSource(): Promise<OwnSource> {
    if (earlier && !stale.source && isRemote(spec.kernel.source))
      return { source: earlier.source, diagnostics: [] };
    return pinOwnSource(host, opened, stale.keys ? undefined : earlier?.source);
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
): Promise<SourceInputs & { readonly diagnostics: readonly Diagnostic[] }> {
  if (opened.spec.kernel.source.kind !== 'debian') {
    return { origins: {}, ...(await pinOwnSource(host, opened, undefined)) };
  }
  const archive = await readArchive(host, opened);
  return { ...archiveSource(opened, archive), diagnostics: archive.diagnostics };
}

async function readArchive(host: Host, { spec }: OpenSpec): Promise<ArchiveIndexes> {
  const { debian, snapshot } = spec.environment;
  return readIndexes(host, { release: debian, architecture: buildMachine, snapshot });
}

function archiveSource({ spec }: OpenSpec, { origins, index }: ArchiveIndexes): SourceInputs {
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

/** A source that no archive has. @param earlier pin of it, whose keys are used again */
async function pinOwnSource(
  host: Host,
  opened: OpenSpec,
  earlier: SourcePin | undefined,
): Promise<OwnSource> {
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
      const diagnostics = await foldedCase(tree);
      return { source: { kind: 'tree', path: source.path, sha256, size }, diagnostics };
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
    patches: patches.map(pinPatch),
  };
}

function pinFile({ path, sha256 }: LocalFile): FilePin {
  return { path, sha256 };
}
