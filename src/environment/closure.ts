/**
 * Which packages an environment consists of: the Essential packages, the wanted ones, and everything that these
 * depend on, directly or not. Recommended packages are left out.
 *
 * Debian Policy says which sets would do (sections 7.2 to 7.5), not which of them to take. So that an environment is
 * the one that people know, the choice is the one of `apt-get install --no-install-recommends` into an empty system,
 * which is the referee in the tests:
 *
 * - all wanted packages count as chosen before the first dependency is looked at, then each is followed depth first,
 *   Pre-Depends before Depends, in the order in which they are written;
 * - a clause that a chosen package fulfils adds nothing; otherwise its alternatives are tried from left to right, of
 *   each first the package of that name, then those that provide it by priority;
 * - a package that turns out not to be installable is given up and the next one tried, unless it is *held*: wanted,
 *   or the only way to fulfil what a held package needs.
 *
 * What was taken for the sake of something given up later is dropped at the end.
 */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { quoted } from '../diagnostics/printable.ts';
import { environmentCodes } from './codes.ts';
import { solutionsOf, type PackageIndex } from './package-index.ts';
import { priorities, type PackageRecord } from './package-record.ts';
import { formatClause, parseRelations, type Alternative, type Clause } from './relation.ts';
import { whyUnsatisfied, type Refusal } from './why-unsatisfied.ts';

export interface ClosurePackage {
  readonly record: PackageRecord;
  /** One of the Essential packages, or needed by them. */
  readonly essential: boolean;
  /** The package for whose sake it was taken; absent for the wanted and the Essential ones. */
  readonly neededBy?: string;
}

export interface ClosureResult {
  /** Sorted by package name (code units). With errors among the diagnostics: as far as it went. */
  readonly value: readonly ClosurePackage[];
  readonly diagnostics: readonly Diagnostic[];
}

interface Choice {
  readonly record: PackageRecord;
  readonly by: Choice | undefined;
}

/** Relations of one package, read once. */
interface Needs {
  readonly positive: readonly Clause[];
  readonly negative: readonly Alternative[];
}

class Resolver {
  readonly diagnostics: Diagnostic[] = [];
  readonly chosen = new Map<string, Choice>();
  readonly #index: PackageIndex;
  readonly #held = new Set<string>();
  readonly #refused = new Map<string, Refusal>();
  /** Names of candidates that packages chosen so far conflict with, and which ones do. */
  readonly #forbidden = new Map<string, PackageRecord[]>();
  readonly #reported = new Set<string>();
  readonly #needs = new Map<PackageRecord, Needs>();
  /** Packages whose needs are being looked at: what lacks in them is on its way. */
  readonly #busy = new Set<string>();

  constructor(index: PackageIndex) {
    this.#index = index;
  }

  resolve(roots: readonly PackageRecord[]): void {
    for (const record of roots) {
      this.chosen.set(record.package, { record, by: undefined });
      this.#held.add(record.package);
    }
    for (const record of roots) this.#install(record, undefined);
    this.#mend(roots);
  }

  /** Giving up a package can leave others, chosen before it failed, without what they need: these are looked at again. */
  #mend(roots: readonly PackageRecord[]): void {
    const hopeless = new Set<string>();
    while (this.#refused.size > 0) {
      const needed = this.reach(roots, true);
      const broken = [...this.chosen.values()].find(
        ({ record }) => needed.has(record.package) && !hopeless.has(record.package) && !this.#isWhole(record),
      );
      if (!broken) return;
      const name = broken.record.package;
      if (!this.#installNeeds(broken, this.#held.has(name))) hopeless.add(name);
    }
  }

  #isWhole(record: PackageRecord): boolean {
    return this.needsOf(record).positive.every((clause) => this.isSatisfied(clause));
  }

  /** The chosen packages that can be reached from `roots`; of each clause, all that fulfil it or the first one. */
  reach(roots: readonly PackageRecord[], all: boolean): ReadonlySet<string> {
    const reached = new Set<string>();
    const queue = [...roots];
    for (let record = queue.pop(); record; record = queue.pop()) {
      if (reached.has(record.package)) continue;
      reached.add(record.package);
      for (const clause of this.needsOf(record).positive) {
        const there = clause
          .flatMap((alternative) => solutionsOf(this.#index, alternative))
          .filter(({ package: name }) => this.chosen.has(name));
        queue.push(...(all ? there : there.slice(0, 1)));
      }
    }
    return reached;
  }

  needsOf(record: PackageRecord): Needs {
    const known = this.#needs.get(record);
    if (known) return known;
    const read = (field: string): readonly Clause[] => {
      const { clauses, malformed } = parseRelations(field);
      if (malformed !== undefined) this.diagnostics.push(badRelation(record, malformed));
      return clauses;
    };
    const needs = {
      positive: [...read(record.preDepends), ...read(record.depends)],
      negative: [...read(record.conflicts), ...read(record.breaks)].flat(),
    };
    this.#needs.set(record, needs);
    return needs;
  }

  isSatisfied(clause: Clause): boolean {
    return clause.some((alternative) =>
      solutionsOf(this.#index, alternative).some((one) => this.chosen.has(one.package)),
    );
  }

  /** Chooses a package with all that it needs; false when that cannot be done. */
  #install(record: PackageRecord, by: Choice | undefined): boolean {
    const name = record.package;
    if (this.#refused.has(name)) return false;
    const held = this.#held.has(name);
    const before = this.chosen.get(name);
    if (before && !held && (this.#busy.has(name) || this.#isWhole(record))) return true;
    // A held package goes on after a failure, so that everything that is wrong is found in one go.
    const conflict = this.#conflictOf(record);
    if (conflict) this.#refuse({ kind: 'conflict', record, other: conflict }, before ?? { record, by }, held);
    if (conflict && !held) return false;
    // What can never be installed is given up before anything is chosen for its sake.
    const never = held
      ? undefined
      : this.needsOf(record).positive.find((clause) => !this.#hasCandidate(clause));
    if (never) {
      this.#refused.set(name, { kind: 'needs', record, clause: never });
      this.chosen.delete(name);
      return false;
    }
    const choice = before ?? { record, by };
    this.chosen.set(name, choice);
    this.#forbid(record);
    return this.#installNeeds(choice, held);
  }

  #hasCandidate(clause: Clause): boolean {
    return clause.some((alternative) => solutionsOf(this.#index, alternative).length > 0);
  }

  #installNeeds(choice: Choice, held: boolean): boolean {
    const { record } = choice;
    // Clauses that are fulfilled at this point are left alone, unless there is something to be held.
    const open = this.needsOf(record).positive.filter((clause) => held || !this.isSatisfied(clause));
    this.#busy.add(record.package);
    let whole = true;
    for (const clause of open) {
      if (this.#fulfil(choice, clause, held)) continue;
      const refusal: Refusal = { kind: 'needs', record, clause };
      this.#refuse(refusal, choice, held);
      whole = false;
      if (!held) break;
    }
    this.#busy.delete(record.package);
    if (!whole && !held) this.chosen.delete(record.package);
    return whole;
  }

  #fulfil(choice: Choice, clause: Clause, held: boolean): boolean {
    const solutions = this.#solutionsOf(clause);
    const [only] = solutions;
    if (held && solutions.length === 1 && only) return this.#hold(only, choice);
    if (this.isSatisfied(clause)) return true;
    return solutions.some((one) => this.#install(one, choice));
  }

  /** The only way to fulfil what a held package needs: no longer a matter of choice. */
  #hold(record: PackageRecord, by: Choice): boolean {
    const name = record.package;
    if (this.#held.has(name)) return true;
    if (!this.chosen.has(name)) this.chosen.set(name, { record, by });
    this.#held.add(name);
    // What fails below is reported there, where the reason is.
    this.#install(record, by);
    return true;
  }

  #solutionsOf(clause: Clause): readonly PackageRecord[] {
    const solutions = clause.flatMap((alternative) =>
      // Where nothing else decides, apt takes the one that its cache learnt of last: mostly the later in the index.
      solutionsOf(this.#index, alternative)
        .toReversed()
        .sort((a, b) => this.#preference(alternative.name, a, b)),
    );
    return [...new Set(solutions)].filter(({ package: name }) => !this.#refused.has(name));
  }

  #preference(name: string, a: PackageRecord, b: PackageRecord): number {
    const first = (test: (record: PackageRecord) => boolean): number => Number(test(b)) - Number(test(a));
    return (
      first((one) => this.#held.has(one.package)) ||
      first((one) => one.package === name) ||
      first((one) => one.essential) ||
      priorities.indexOf(a.priority) - priorities.indexOf(b.priority)
    );
  }

  #conflictOf(record: PackageRecord): PackageRecord | undefined {
    const enemies = [...(this.#forbidden.get(record.package) ?? []), ...this.#enemiesOf(record)];
    return enemies.find((other) => this.chosen.has(other.package));
  }

  /** A package never conflicts with itself, though it may with what it provides (Policy section 7.6.2). */
  #enemiesOf(record: PackageRecord): readonly PackageRecord[] {
    return this.needsOf(record)
      .negative.flatMap((alternative) => solutionsOf(this.#index, alternative))
      .filter((other) => other !== record);
  }

  #forbid(record: PackageRecord): void {
    for (const { package: name } of this.#enemiesOf(record)) {
      const by = this.#forbidden.get(name);
      if (by) by.push(record);
      else this.#forbidden.set(name, [record]);
    }
  }

  #refuse(refusal: Refusal, choice: Choice, held: boolean): void {
    if (!held) {
      this.#refused.set(refusal.record.package, refusal);
      return;
    }
    const report = reportRefusal(this.#index, refusal, this.#refused, chainOf(choice));
    const key = refusal.kind === 'conflict' ? pairOf(refusal.record, refusal.other) : report.message;
    if (!this.#reported.has(key)) this.diagnostics.push(report);
    this.#reported.add(key);
  }
}

function pairOf(a: PackageRecord, b: PackageRecord): string {
  return [a.package, b.package].sort().join(' ');
}

function chainOf(choice: Choice): readonly string[] {
  const chain: string[] = [];
  for (let one: Choice | undefined = choice; one; one = one.by) chain.unshift(one.record.package);
  return chain;
}

function badRelation(record: PackageRecord, text: string): Diagnostic {
  return environmentCodes.report('environment/bad-relation', {
    message: `the dependency ${quoted(text)} of ${record.package} ${record.version} cannot be read`,
    help: 'The index is signed, so the archive itself says so: take another release, or try another day.',
  });
}

function reportRefusal(
  index: PackageIndex,
  refusal: Refusal,
  refused: ReadonlyMap<string, Refusal>,
  chain: readonly string[],
): Diagnostic {
  const { record } = refusal;
  const notes = chain.length > 1 ? [`It is there because of ${chain.join(' → ')}.`] : [];
  const help = 'Leave out the package that needs it, or take another Debian release.';
  if (refusal.kind === 'conflict') {
    const message = `${record.package} ${record.version} and ${refusal.other.package} ${refusal.other.version} cannot be installed together`;
    return environmentCodes.report('environment/conflict', { message, notes, help });
  }
  const message = `${record.package} ${record.version} needs ${formatClause(refusal.clause)}, which cannot be installed`;
  const reasons = whyUnsatisfied(index, refusal.clause, refused);
  return environmentCodes.report('environment/unsatisfied', { message, notes: [...reasons, ...notes], help });
}

function findWanted(index: PackageIndex, name: string): PackageRecord | Diagnostic {
  const record = index.candidates.get(name);
  if (record) return record;
  const providers = index.providers.get(name)?.map((one) => one.record.package) ?? [];
  return environmentCodes.report('environment/no-such-package', {
    message: `there is no package ${quoted(name)} for ${index.architecture}`,
    notes: providers.length > 0 ? [`It is a virtual package, provided by ${providers.join(', ')}.`] : [],
    help: providers.length > 0 ? 'Name one of them.' : meantPackage(index, name),
  });
}

function meantPackage(index: PackageIndex, name: string): string {
  const versions = otherVersions(index, name);
  if (versions.length > 0) return `The release has ${versions.join(', ')}.`;
  const near = nearest(name, index.candidates.keys());
  return near === undefined ? 'Name a package of the release.' : `Did you mean ${quoted(near)}?`;
}

/** Packages with another number in the name, where a package is called after its version as compilers are. */
function otherVersions(index: PackageIndex, name: string): readonly string[] {
  const parts = (one: string): RegExpExecArray | null => /^([a-z+]+-)(\d+)(-.+)?$/u.exec(one);
  const wanted = parts(name);
  if (!wanted) return [];
  return [...index.candidates.keys()]
    .map(parts)
    .filter((found) => found !== null)
    .filter(([, stem, , rest]) => stem === wanted[1] && rest === wanted[3])
    .toSorted(([, , a], [, , b]) => Number(a) - Number(b))
    .map(([other]) => other);
}

/**
 * The packages of an environment that has all of `wanted`; the Essential packages are always part of it.
 * @param wanted names of real packages
 * @returns errors name a wanted package that does not exist, a dependency that cannot be fulfilled with the chain of
 *   packages that lead to it, and packages that conflict
 */
export function resolveClosure(index: PackageIndex, wanted: readonly string[]): ClosureResult {
  const essential = [...index.candidates.values()].filter((record) => record.essential);
  const found = wanted.map((name) => findWanted(index, name));
  const roots = [...new Set([...essential, ...found.filter((one) => 'package' in one)])];
  const resolver = new Resolver(index);
  resolver.diagnostics.push(...found.filter((one) => 'code' in one));
  resolver.resolve(roots);
  const kept = resolver.reach(roots, true);
  const base = resolver.reach(essential, false);
  const value = [...resolver.chosen.values()]
    .filter(({ record }) => kept.has(record.package))
    .map(({ record, by }) => ({
      record,
      essential: base.has(record.package),
      ...(by && { neededBy: by.record.package }),
    }))
    .sort((a, b) => (a.record.package < b.record.package ? -1 : 1));
  return { value, diagnostics: resolver.diagnostics };
}
