import { compareDebianVersions } from './debian-version.ts';
import type { PackageIndex } from './package-index.ts';
import type { PackageRecord } from './package-record.ts';
import { formatAlternative, formatClause, type Alternative, type Clause } from './relation.ts';

/** Why a package was given up. */
export type Refusal =
  | { readonly kind: 'needs'; readonly record: PackageRecord; readonly clause: Clause }
  | { readonly kind: 'conflict'; readonly record: PackageRecord; readonly other: PackageRecord };

/** Chains of refusals can be long where a release is broken; more than this helps nobody. */
const most = 6;

function reasonOf(index: PackageIndex, alternative: Alternative, refused: Refusals): string[] {
  const { name, qualifier } = alternative;
  const text = formatAlternative(alternative);
  const real = index.candidates.get(name);
  const providers = index.providers.get(name) ?? [];
  if (!real && providers.length === 0) return [`${name} is not in the release, and no package provides it.`];
  const reasons = [real, ...providers.map((one) => one.record)]
    .filter((record) => record !== undefined)
    .flatMap((record) => refused.get(record.package) ?? []);
  if (reasons.length > 0) return reasons.flatMap((refusal) => describe(index, refusal, refused));
  if (!real) return [`${name} is provided by ${listProviders(providers)}, but not as ${text}.`];
  if (qualifier !== undefined && qualifier !== 'native') {
    return [`${name} is there for ${index.architecture}, but not as ${text} asks for it.`];
  }
  const { version } = real;
  const older = alternative.version !== undefined && compareDebianVersions(version, alternative.version) < 0;
  return [`${name} is there as version ${version}, which is too ${older ? 'old' : 'new'} for ${text}.`];
}

type Refusals = ReadonlyMap<string, Refusal>;

function listProviders(providers: readonly { readonly record: PackageRecord }[]): string {
  return [...new Set(providers.map((one) => one.record.package))].join(', ');
}

function describe(index: PackageIndex, refusal: Refusal, refused: Refusals): string[] {
  const { package: name, version } = refusal.record;
  if (refusal.kind === 'conflict') {
    return [
      `${name} ${version} conflicts with ${refusal.other.package} ${refusal.other.version}, which is needed.`,
    ];
  }
  // Without its own entry a package that needs itself in a circle is told of once.
  const others = new Map(refused);
  others.delete(name);
  return [
    `${name} ${version} needs ${formatClause(refusal.clause)}, which cannot be installed.`,
    ...whyUnsatisfied(index, refusal.clause, others),
  ];
}

/** One sentence for each reason why no alternative of `clause` can be installed, following packages given up. */
export function whyUnsatisfied(index: PackageIndex, clause: Clause, refused: Refusals): readonly string[] {
  const reasons = clause.flatMap((alternative) => reasonOf(index, alternative, refused));
  return [...new Set(reasons)].slice(0, most);
}
