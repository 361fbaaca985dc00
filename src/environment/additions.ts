/**
 * Which packages a system that is there lacks. What is installed stays as it is, in its version, as `apt-get install
 * --no-install-recommends` leaves it; it is only replaced by the archive's version where something that is added needs a
 * newer one, or cannot be beside the one that is there.
 */
import { resolveClosure, type ClosureResult } from './closure.ts';
import { compareDebianVersions } from './debian-version.ts';
import { fulfils, mergePackages, solutionsOf, type PackageIndex } from './package-index.ts';
import type { PackageRecord } from './package-record.ts';
import { parseRelations, type Clause } from './relation.ts';

/** What the archive has, and what is there. */
interface System {
  readonly archive: PackageIndex;
  /** Name to what is installed and stays as it is. */
  readonly kept: Map<string, PackageRecord>;
}

/**
 * The packages to add to a system so that it has all of `wanted`, and the Essential ones.
 *
 * @param installed all that is there
 * @returns those to be added, or to take the place of an older version; errors as of `resolveClosure`
 */
export function resolveAdditions(
  archive: PackageIndex,
  wanted: readonly string[],
  installed: readonly PackageRecord[],
): ClosureResult {
  const system: System = {
    archive,
    kept: new Map(installed.map((record) => [record.package, record])),
  };
  const roots = [...new Set([...system.kept.keys(), ...wanted])];
  for (;;) {
    replaceTooOld(system, roots);
    const { value, diagnostics } = resolveClosure(present(system), roots);
    const added = value.filter(({ record }) => system.kept.get(record.package) !== record);
    const inTheWay = inTheWayOf(
      system,
      added.map(({ record }) => record),
    );
    if (inTheWay.length === 0) {
      return { value: added.map((one) => ({ ...one, essential: false })), diagnostics };
    }
    for (const name of inTheWay) system.kept.delete(name);
  }
}

/** The packages to choose from: of what is there and stays, the version that is there. */
function present({ archive, kept }: System): PackageIndex {
  const rest = [...archive.candidates.values()].filter(({ package: name }) => !kept.has(name));
  return mergePackages(archive.architecture, [[...kept.values(), ...rest]]);
}

/** The archive's version of a package that is there, where it is newer. */
function newer({ archive, kept }: System, name: string): PackageRecord | undefined {
  const there = kept.get(name);
  const candidate = archive.candidates.get(name);
  return there && candidate && compareDebianVersions(candidate.version, there.version) > 0
    ? candidate
    : undefined;
}

/** Goes the way from the roots to all that they need, and gives up what is too old for it. */
function replaceTooOld(system: System, roots: readonly string[]): void {
  // what is there may not go with what takes the place of another: so it is gone again until nothing is found
  for (let old = findTooOld(system, roots); old.size > 0; old = findTooOld(system, roots))
    for (const name of old) system.kept.delete(name);
}

function findTooOld(system: System, roots: readonly string[]): ReadonlySet<string> {
  const index = present(system);
  const queue = [...roots];
  const seen = new Set<string>();
  const old = new Set<string>();
  for (let name = queue.pop(); name !== undefined; name = queue.pop()) {
    const record = index.candidates.get(name);
    if (!record || seen.has(name)) continue;
    seen.add(name);
    const open = clausesOf(record, 'preDepends', 'depends').filter((clause) => !isMet(system, index, clause));
    for (const clause of open) {
      // where there is no way, it is too old itself for what has taken the place of another
      const way = wayFor(system, index, clause) ?? (newer(system, name) && name);
      if (way === undefined) continue;
      if (system.kept.has(way)) old.add(way);
      else queue.push(way);
    }
  }
  return old;
}

/** Whether something that is there and stays fulfils a clause. */
function isMet({ kept }: System, index: PackageIndex, clause: Clause): boolean {
  return clause
    .flatMap((alternative) => solutionsOf(index, alternative))
    .some((one) => kept.get(one.package) === one);
}

/**
 * The package that fulfils a clause which is not met: of its alternatives the first that can be had. When it is the name
 * of one that is kept, that one is too old.
 */
function wayFor(system: System, index: PackageIndex, clause: Clause): string | undefined {
  for (const alternative of clause) {
    const candidate = newer(system, alternative.name);
    if (candidate && solutionsOf(system.archive, alternative).includes(candidate)) return alternative.name;
    const [first] = solutionsOf(index, alternative);
    if (first) return first.package;
  }
  return undefined;
}

/** What is there, and cannot be beside what is added, but has a newer version that can. */
function inTheWayOf(system: System, added: readonly PackageRecord[]): readonly string[] {
  const clash = (one: PackageRecord, other: PackageRecord): boolean =>
    excludes(system, one, other) || excludes(system, other, one);
  return [...system.kept.values()]
    .filter((there) => {
      const candidate = newer(system, there.package);
      return candidate && added.some((one) => clash(there, one) && !clash(candidate, one));
    })
    .map(({ package: name }) => name);
}

/** Whether `one` says that it cannot be beside `other`. */
function excludes({ archive }: System, one: PackageRecord, other: PackageRecord): boolean {
  return clausesOf(one, 'conflicts', 'breaks')
    .flat()
    .some((alternative) => fulfils(archive.architecture, alternative, other));
}

function clausesOf(
  record: PackageRecord,
  ...fields: readonly ('preDepends' | 'depends' | 'conflicts' | 'breaks')[]
): readonly Clause[] {
  return fields.flatMap((field) => parseRelations(record[field]).clauses);
}
