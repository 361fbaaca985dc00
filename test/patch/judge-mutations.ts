/** Mutated patches put before us, GNU patch and git: what each says, as a table. */
import { expect } from 'vitest';

import { exitOf } from '../../src/diagnostics/diagnostic.ts';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import { applyPatch } from '../../src/patch/apply-patch.ts';
import { WorkingTree } from '../../src/patch/working-tree.ts';
import { decoding } from '../../src/source/decoding.ts';
import { toFiles, verdictsOf } from './gnu-patch.ts';
import type { MutationKind, Mutated } from './mutations.ts';

/**
 * What is said of a patch that went wrong in this way. Where more than one code stands, the patch decides: one that has
 * new files alone applies from any folder, and a name in front may hold no `b/` that could stand before `a/`.
 */
const said: Readonly<Record<MutationKind, readonly string[]>> = {
  none: ['applies'],
  'lines in front': ['applies'],
  'other line around': ['patch/needs-fuzz'],
  'other two lines around': ['patch/needs-fuzz'],
  'other line within': ['patch/does-not-apply'],
  'applied before': ['patch/already-applied'],
  'wrong way round': ['patch/reversed', 'patch/already-applied'],
  'no folder in front': ['patch/wrong-strip', 'applies'],
  'two folders in front': ['patch/wrong-strip', 'applies'],
  'patch with carriage returns': ['applies'],
  'file with carriage returns': ['patch/line-ends'],
  'file elsewhere': ['patch/no-file'],
  'file gone': ['patch/no-file'],
  'new file there': ['patch/file-exists'],
  'blanks for tabs': ['patch/does-not-apply', 'patch/needs-fuzz'],
  'cut off': ['patch/malformed'],
};

/** `patch` forgives lines of context that are missing at the end; what else is missing then, nobody knows. */
const stricterThanPatch: readonly MutationKind[] = ['cut off'];

/** Fuzz: `patch` with its usual two lines puts a hunk where lines around it have changed, and exits with 0. */
const fuzzKinds: readonly MutationKind[] = [
  'other line around',
  'other two lines around',
  'blanks for tabs',
  'cut off',
];

/**
 * Git keeps the carriage returns of a patch, finds out by itself how many folders stand in front of the names of a plain
 * diff, and does not ask whether a hunk that fits once more is there already.
 */
const gitKinds: readonly MutationKind[] = [
  'patch with carriage returns',
  'no folder in front',
  'applied before',
];

export interface Row {
  kind: MutationKind;
  cases: number;
  ours: Record<string, number>;
  'patch -F0': number;
  patch: number;
  'git apply': number;
}

/** Judges all of them, and says how often each was taken. */
export function judgeMutations(cases: readonly Mutated[]): readonly Row[] {
  const rows = new Map<MutationKind, Row>();
  for (const [nth, referee] of verdictsOf(cases).entries()) {
    const one = cases[nth];
    if (!one) continue;
    const { kind, patch } = one;
    const found = ourDiagnostics(one);
    const fine = exitOf(found) === 0;
    const code = fine ? 'applies' : (found.find(({ severity }) => severity === 'error')?.code ?? '');
    const context = { kind, name: one.name, patch: patch.slice(0, 4000), found };
    const differs = (other: boolean, where: readonly MutationKind[]): void =>
      expect({ ...context, fine, same: other === fine || where.includes(kind) }).toEqual({
        ...context,
        fine,
        same: true,
      });
    differs(referee.strict, stricterThanPatch);
    differs(referee.usual, fuzzKinds);
    differs(referee.git, gitKinds);
    expect({ ...context, code, fits: said[kind].includes(code) }).toEqual({ ...context, code, fits: true });
    for (const { help, severity } of found) if (severity === 'error') expect(help).toMatch(/./);
    const row = rows.get(kind) ?? { kind, cases: 0, ours: {}, 'patch -F0': 0, patch: 0, 'git apply': 0 };
    row.cases += 1;
    row.ours[code] = (row.ours[code] ?? 0) + 1;
    row['patch -F0'] += Number(referee.strict);
    row.patch += Number(referee.usual);
    row['git apply'] += Number(referee.git);
    rows.set(kind, row);
  }
  return [...rows.values()];
}

function ourDiagnostics({ name, patch: text, tree }: Mutated): readonly Diagnostic[] {
  const working = new WorkingTree(toFiles(tree));
  return applyPatch(working, { name, text, strip: 1, reverse: false, fuzz: 0 }, decoding).diagnostics;
}
