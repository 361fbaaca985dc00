import type { Diagnostic } from '../diagnostics/diagnostic.ts';
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
 * @returns the pins sorted by package name (code units); errors as of `resolveClosure`
 */
export function pinPackages(
  index: PackageIndex,
  wanted: readonly string[],
): { readonly value: readonly PackagePin[]; readonly diagnostics: readonly Diagnostic[] } {
  const { value, diagnostics } = resolveClosure(index, wanted);
  const pins = value.map(({ record, essential }) => ({
    package: record.package,
    version: record.version,
    architecture: record.architecture,
    essential,
    ...pinOf(record),
  }));
  return { value: pins, diagnostics };
}
