import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { compareDebianVersions, parseDebianVersion } from '../environment/debian-version.ts';
import type { PackageIndex } from '../environment/package-index.ts';
import type { PackageRecord } from '../environment/package-record.ts';
import type { SourcePin } from '../spec/lock.ts';
import { sourceCodes } from './codes.ts';
import { pinOf } from './pin-packages.ts';

export interface DebianSourceRequest {
  /** `linux-source-6.1` */
  readonly package: string;
  /** A series (`6.1`), a kernel version (`6.1.192`) or a version of the package (`6.1.192-2`). */
  readonly version: string;
}

type Result = {
  readonly value?: Extract<SourcePin, { readonly kind: 'debian' }>;
  readonly diagnostics: readonly Diagnostic[];
};

const sourceName = /^linux-source-\d/;

/** The kernel version inside a package version: `6.1.192` of `6.1.192-2`, `6.12.57` of `6.12.57-1~bpo12+1`. */
function kernelVersion(record: PackageRecord): string {
  return parseDebianVersion(record.version).upstream;
}

function fits(record: PackageRecord, version: string): boolean {
  const kernel = kernelVersion(record);
  return record.version === version || kernel === version || kernel.startsWith(`${version}.`);
}

function listSources(index: PackageIndex): string {
  const names = [...index.candidates.values()]
    .filter((record) => sourceName.test(record.package))
    .sort((a, b) => compareDebianVersions(a.version, b.version))
    .map((record) => `${record.package} (${record.version})`);
  return names.length > 0 ? names.join(', ') : 'none';
}

/**
 * Pins the Debian package that holds the kernel's source.
 * @returns an error when the release has no such package, or has it in a version that does not fit
 */
export function pinDebianSource(index: PackageIndex, request: DebianSourceRequest): Result {
  const record = index.candidates.get(request.package);
  const there = `The release has: ${listSources(index)}.`;
  if (!record) {
    const report = sourceCodes.report('source/no-debian-source', {
      message: `the release has no package ${quoted(request.package)}`,
      notes: [there],
      help: 'Name one of these in kernel.source, or take another release (environment.debian).',
    });
    return { diagnostics: [report] };
  }
  if (!fits(record, request.version)) {
    const kernel = kernelVersion(record);
    const series = kernel.split('.').slice(0, 2).join('.');
    const report = sourceCodes.report('source/version-differs', {
      message: `${record.package} has version ${record.version}, which is not ${quoted(request.version)}`,
      notes: ['A Debian archive keeps the newest version alone.', there],
      help:
        `Write version: "${series}" for whatever the series has, or "${kernel}" for this one; ` +
        'an older one has to come as a tarball or a tree.',
    });
    return { diagnostics: [report] };
  }
  const { package: name, version } = record;
  return { value: { kind: 'debian', package: name, version, ...pinOf(record) }, diagnostics: [] };
}
