import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { resolveAdditions } from '../environment/additions.ts';
import { resolveClosure } from '../environment/closure.ts';
import type { PackageIndex } from '../environment/package-index.ts';
import type { PackageRecord } from '../environment/package-record.ts';
import type { ArchivePin, PackagePin } from '../spec/lock.ts';

export function pinOf({ origin, filename, size, sha256 }: PackageRecord): ArchivePin {
  return { origin, path: filename, size, sha256 };
}

/**
 * Pins the packages of an environment that has all of `wanted`.
 * @param wanted package names; the Essential packages come by themselves
 * @param installed what is there already, of an environment that begins with an image: only what is missing is pinned
 * @returns the pins sorted by package name (code units); errors as of `resolveClosure`
 */
export function pinPackages(
  index: PackageIndex,
  wanted: readonly string[],
  installed?: readonly PackageRecord[],
): { readonly value: readonly PackagePin[]; readonly diagnostics: readonly Diagnostic[] } {
  const { value, diagnostics } =
    installed === undefined ? resolveClosure(index, wanted) : resolveAdditions(index, wanted, installed);
  const pins = value.map(({ record, essential }) => ({
    package: record.package,
    version: record.version,
    architecture: record.architecture,
    essential,
    ...pinOf(record),
  }));
  return { value: pins, diagnostics };
}
