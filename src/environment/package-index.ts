/** The packages that one architecture of a release has to choose from: of each package its newest version. */
import { compareDebianVersions, satisfiesVersion } from './debian-version.ts';
import type { PackageRecord } from './package-record.ts';
import type { Alternative } from './relation.ts';

export interface Provider {
  readonly record: PackageRecord;
  /** The version that is provided; absent when the package names none. */
  readonly version?: string;
}

export interface PackageIndex {
  /** Debian's name of the architecture: `amd64`. */
  readonly architecture: string;
  /** Package name to its candidate. */
  readonly candidates: ReadonlyMap<string, PackageRecord>;
  /**
   * Name of a virtual (or real) package to the candidates that provide it, in the order of the index. A name that is
   * provided to packages of any architecture has an entry with `:any` behind it as well.
   */
  readonly providers: ReadonlyMap<string, readonly Provider[]>;
}

/**
 * Merges the records of several indexes. The highest version of a package wins, whichever index it comes from; of
 * equal versions the one of the earlier list. Packages of other architectures are left out.
 */
export function mergePackages(
  architecture: string,
  lists: readonly (readonly PackageRecord[])[],
): PackageIndex {
  const candidates = new Map<string, PackageRecord>();
  for (const record of lists.flat()) {
    if (record.architecture !== architecture && record.architecture !== 'all') continue;
    const known = candidates.get(record.package);
    if (!known || compareDebianVersions(record.version, known.version) > 0)
      candidates.set(record.package, record);
  }
  return { architecture, candidates, providers: collectProviders(architecture, candidates.values()) };
}

/** The names under which a package that provides `name` can be found (deb-control(5), Multi-Arch and Provides). */
function providedNames(architecture: string, { multiArch }: PackageRecord, provided: Alternative): string[] {
  const { name, qualifier } = provided;
  if (qualifier === 'any') return [`${name}:any`];
  if (qualifier !== undefined && qualifier !== architecture) return [];
  return multiArch === 'allowed' ? [name, `${name}:any`] : [name];
}

function collectProviders(
  architecture: string,
  records: Iterable<PackageRecord>,
): ReadonlyMap<string, readonly Provider[]> {
  const providers = new Map<string, Provider[]>();
  for (const record of records) {
    for (const provided of record.provides) {
      const provider = { record, ...(provided.version !== undefined && { version: provided.version }) };
      for (const name of providedNames(architecture, record, provided)) {
        const list = providers.get(name);
        if (list) list.push(provider);
        else providers.set(name, [provider]);
      }
    }
  }
  return providers;
}

/** Whether a thing of this version (none: a virtual package without one) fits what the alternative asks for. */
function fits({ relation, version: bound }: Alternative, version: string | undefined): boolean {
  if (relation === undefined || bound === undefined) return true;
  return version !== undefined && satisfiesVersion(version, relation, bound);
}

/** Whether a package is what `alternative` names, or provides it. @param architecture of the system */
export function fulfils(architecture: string, alternative: Alternative, record: PackageRecord): boolean {
  return solutionsOf(mergePackages(architecture, [[record]]), alternative).length > 0;
}

/**
 * The candidates that are what `alternative` names, or provide it: the real package first, then the providers in the
 * order of the index. A version bound is met by a provider only when it names the version that it provides.
 */
export function solutionsOf(index: PackageIndex, alternative: Alternative): readonly PackageRecord[] {
  const { name, qualifier } = alternative;
  const any = qualifier === 'any';
  if (qualifier !== undefined && !any && qualifier !== 'native' && qualifier !== index.architecture)
    return [];
  const solutions = new Set<PackageRecord>();
  const real = index.candidates.get(name);
  if (real && (!any || real.multiArch === 'allowed') && fits(alternative, real.version)) solutions.add(real);
  for (const { record, version } of index.providers.get(any ? `${name}:any` : name) ?? [])
    if (fits(alternative, version)) solutions.add(record);
  return [...solutions];
}
