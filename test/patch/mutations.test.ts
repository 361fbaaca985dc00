/** A sample of what debian-stack.slow.test.ts does with real patches: here they are made up. */
import { expect, it } from 'vitest';

import { seededRandom, type SeededRandom } from '../oracle/seeded-random.ts';
import { plainDiffs, type Tree } from './gnu-patch.ts';
import { judgeMutations } from './judge-mutations.ts';
import { mutate, mutationKinds, type FittingPatch } from './mutations.ts';

const words = ['level', 'river', 'weir', 'bank', 'sonar', 'depth', 'tide', 'gauge'];

/** Something like C: lines that are mostly different, in functions. */
function source(random: SeededRandom): readonly string[] {
  return Array.from({ length: 60 }, (_, nth) =>
    nth % 12 === 0
      ? `int ${random.pick(words)}_${nth}(void)\n`
      : `\t${random.pick(words)} = ${random.below(10_000)};\n`,
  );
}

/** A change of some lines in the middle of each of a few files, and now and then a new file. */
function fittingPatches(count: number, random: SeededRandom): readonly FittingPatch[] {
  const drafts = Array.from({ length: count }, (_, nth) => {
    const path = `drivers/${random.pick(words)}/${random.pick(words)}.c`;
    const old = source(random);
    const at = 20 + random.below(20);
    const now = old.toSpliced(at, 1 + random.below(3), `\totter(${nth});\n`, `\t${random.pick(words)}();\n`);
    return { path, before: old.join(''), after: now.join(''), fresh: nth % 3 === 0 };
  });
  const diffs = plainDiffs(drafts);
  return drafts.map(({ path, before, after, fresh }, nth) => {
    const more = fresh
      ? '--- /dev/null\n+++ b/include/new.h\n@@ -0,0 +1,2 @@\n+#define OTTER 1\n+#define BANK 2\n'
      : '';
    const tree: Tree = { [path]: before };
    return {
      name: `${nth}.patch`,
      patch: `${diffs[nth] ?? ''}${more}`,
      before: tree,
      after: { [path]: after, ...(fresh && { 'include/new.h': '#define OTTER 1\n#define BANK 2\n' }) },
    };
  });
}

it(
  'says of each kind of patch that goes wrong what is wrong, and takes it when GNU patch without fuzz does',
  { timeout: 120_000 },
  () => {
    const random = seededRandom(5);
    const cases = fittingPatches(4, random).flatMap((patch) =>
      mutationKinds.flatMap((kind) => mutate(patch, kind, random) ?? []),
    );
    const rows = judgeMutations(cases);
    expect(rows.map(({ kind }) => kind).sort()).toEqual([...mutationKinds].sort());
  },
);
