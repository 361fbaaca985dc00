export interface Need {
  /** Name of a Debian package. */
  readonly package: string;
  /** What it is for: goes on from "is there because of …". */
  readonly because: string;
}

/** Each package once, with all that it is for; sorted by name. */
export function mergeNeeds(needs: readonly Need[]): readonly Need[] {
  const reasons = new Map<string, Set<string>>();
  for (const { package: name, because } of needs) {
    reasons.set(name, (reasons.get(name) ?? new Set()).add(because));
  }
  return [...reasons]
    .map(([name, because]) => ({ package: name, because: [...because].join('; ') }))
    .sort((a, b) => (a.package < b.package ? -1 : 1));
}
