/** One package of an archive, as its `Packages` file describes it (Debian Policy sections 5.3 and 5.6). */
import type { Deb822Problem, Stanza } from '../archive/deb822.ts';
import { deb822Parser } from '../archive/deb822.ts';
import { isDebianVersion } from './debian-version.ts';
import { parseRelations, type Alternative } from './relation.ts';

/** Debian's priorities, the most important first: where several packages provide a thing, the order decides. */
export const priorities = ['required', 'important', 'standard', 'optional', 'extra'] as const;
export type Priority = (typeof priorities)[number];

export type MultiArch = 'no' | 'same' | 'foreign' | 'allowed';

/** What a package says of itself. */
export interface PackageControl {
  readonly package: string;
  readonly version: string;
  readonly architecture: string;
  readonly multiArch: MultiArch;
  readonly priority: Priority;
  readonly essential: boolean;
  /**
   * Relation fields as they stand, empty when absent: an index has sixty thousand packages and a closure visits two
   * hundred, so `parseRelations` is left to whoever visits.
   */
  readonly preDepends: string;
  readonly depends: string;
  readonly conflicts: string;
  readonly breaks: string;
  /** What the package stands in for, with a version where it says one. */
  readonly provides: readonly Alternative[];
}

export interface PackageRecord extends PackageControl {
  /** Key of the origin whose index names the package. */
  readonly origin: string;
  /** Path below the origin: `pool/main/b/bc/bc_1.07.1-3+b1_amd64.deb`. */
  readonly filename: string;
  /** Bytes of the file. */
  readonly size: number;
  readonly sha256: string;
}

/** The fields that `readControl` looks at. */
export const controlFields = [
  'Package',
  'Version',
  'Architecture',
  'Multi-Arch',
  'Priority',
  'Essential',
  'Pre-Depends',
  'Depends',
  'Conflicts',
  'Breaks',
  'Provides',
] as const;

const fields = [...controlFields, 'Filename', 'Size', 'SHA256'] as const;

const namePattern = /^[a-z0-9][a-z0-9+.-]+$/;
const pathPattern = /^[A-Za-z0-9][A-Za-z0-9._+~:%-]*(?:\/[A-Za-z0-9][A-Za-z0-9._+~:%-]*)*$/;
const digestPattern = /^[0-9a-f]{64}$/;
const sizePattern = /^\d{1,15}$/;

function oneOf<T extends string>(values: readonly T[], text: string | undefined): T | undefined {
  return values.find((value) => value === text);
}

/** What these values go into later (paths, file lists, shell scripts) relies on their grammar, signed index or not. */
function fileFault(stanza: Stanza): string | undefined {
  const value = (name: string): string => stanza.get(name) ?? '';
  if (!pathPattern.test(value('filename'))) return 'Filename is no plain relative path';
  if (!sizePattern.test(value('size'))) return 'Size is no number of bytes';
  if (!digestPattern.test(value('sha256'))) return 'SHA256 is no digest';
  return undefined;
}

function controlFault(stanza: Stanza): string | undefined {
  const value = (name: string): string => stanza.get(name) ?? '';
  if (!namePattern.test(value('package'))) return 'Package is no package name';
  if (!isDebianVersion(value('version'))) return 'Version is no version number';
  if (!/^[a-z0-9][a-z0-9-]*$/.test(value('architecture'))) return 'Architecture is no architecture';
  return undefined;
}

/** Reads what a package says of itself out of its stanza, or says what is wrong with that. */
export function readControl(stanza: Stanza): PackageControl | { readonly fault: string } {
  const value = (name: string): string => stanza.get(name) ?? '';
  const fault = controlFault(stanza);
  if (fault !== undefined) return { fault };
  const provided = parseRelations(value('provides'));
  if (provided.malformed !== undefined) return { fault: 'Provides cannot be read' };
  return {
    package: value('package'),
    version: value('version'),
    architecture: value('architecture'),
    multiArch: oneOf(['same', 'foreign', 'allowed'], stanza.get('multi-arch')) ?? 'no',
    priority: oneOf(priorities, stanza.get('priority')) ?? 'optional',
    essential: stanza.get('essential') === 'yes',
    preDepends: value('pre-depends'),
    depends: value('depends'),
    conflicts: value('conflicts'),
    breaks: value('breaks'),
    provides: provided.clauses.flat(),
  };
}

/** Makes the record of a stanza, or says what is wrong with it. */
function readPackageRecord(stanza: Stanza, origin: string): PackageRecord | { readonly fault: string } {
  const value = (name: string): string => stanza.get(name) ?? '';
  const control = readControl(stanza);
  if ('fault' in control) return control;
  const fault = fileFault(stanza);
  if (fault !== undefined) return { fault };
  return {
    origin,
    ...control,
    filename: value('filename'),
    size: Number(value('size')),
    sha256: value('sha256'),
  };
}

export interface PackagesReader {
  feed(chunk: Uint8Array): void;
  /** Call once, after the last chunk. */
  end(): { readonly records: readonly PackageRecord[]; readonly problems: readonly Deb822Problem[] };
}

/**
 * Reads a `Packages` file in pieces.
 * @param origin key of the origin that the file belongs to
 */
export function packagesReader(origin: string): PackagesReader {
  const records: PackageRecord[] = [];
  const faults: Deb822Problem[] = [];
  const parser = deb822Parser({
    fields,
    onStanza(stanza, line) {
      const record = readPackageRecord(stanza, origin);
      if (!('fault' in record)) records.push(record);
      else if (faults.length < 20) faults.push({ line, reason: record.fault });
    },
  });
  return {
    feed: (chunk) => parser.feed(chunk),
    end: () => ({ problems: [...parser.end(), ...faults], records }),
  };
}
