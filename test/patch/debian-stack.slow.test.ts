/** Debian's own patches of its kernel, on the tree that they belong to; and what becomes of them when they go wrong. */
import { spawnSync } from 'node:child_process';
import { cpSync, mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { beforeAll, describe, expect, it, type TestContext } from 'vitest';

import { exitOf } from '../../src/diagnostics/diagnostic.ts';
import { applyPatch, applyStack, type AppliedStack } from '../../src/patch/apply-patch.ts';
import type { StackPatch } from '../../src/patch/explain-misfits.ts';
import { parsePatch } from '../../src/patch/parse-patch.ts';
import { parseSeries } from '../../src/patch/series.ts';
import { WorkingTree, type PatchedFiles } from '../../src/patch/working-tree.ts';
import { decoding } from '../../src/source/decoding.ts';
import { orSkip } from '../oracle/apt-root.ts';
import {
  contentOf,
  debianKernelPatches,
  seriesOf,
  type KernelPatches,
} from '../oracle/debian-kernel-patches.ts';
import { seededRandom } from '../oracle/seeded-random.ts';
import type { Tree } from './gnu-patch.ts';
import { judgeMutations } from './judge-mutations.ts';
import { mutate, mutationKinds, type FittingPatch, type Mutated } from './mutations.ts';

const minutes = 60_000;

interface Debian extends KernelPatches {
  readonly names: readonly string[];
  readonly stack: readonly StackPatch[];
  readonly files: PatchedFiles;
}

let input: Promise<Debian>;
beforeAll(() => {
  input = read();
  // a test says why it is skipped
  input.catch(() => undefined);
});

async function read(): Promise<Debian> {
  const found = await debianKernelPatches();
  const names = await seriesOf(found);
  const { entries } = parseSeries('series', readFileSync(join(found.patches, 'series'), 'latin1'));
  const stack = entries.map(({ path, strip, reverse }) => ({
    name: path,
    text: readFileSync(join(found.patches, path), 'latin1'),
    strip,
    reverse,
    fuzz: 0,
  }));
  const files = new Map(
    [...(await contentOf(found.tree))].map(([path, text]) => {
      const executable = (statSync(join(found.tree, path)).mode & 0o100) !== 0;
      return [path, { text, executable }];
    }),
  );
  return { ...found, names, stack, files };
}

const needed = (context: TestContext): Promise<Debian> => orSkip(context, input);

describe("Debian's patches of its kernel", () => {
  it(
    'come to what GNU patch makes of the same files, to the last byte',
    { timeout: 20 * minutes },
    async (context) => {
      const { patches, tree, names, stack, files } = await needed(context);
      expect(stack.map(({ name }) => name)).toEqual(names);
      expect(stack.length).toBeGreaterThan(100);
      const working = new WorkingTree(files);
      const { diagnostics, patches: applied }: AppliedStack = applyStack(working, stack, decoding);
      expect(exitOf(diagnostics)).toBe(0);
      expect(applied).toHaveLength(stack.length);
      const copy = mkdtempSync(join(tmpdir(), 'quern-stack-'));
      try {
        cpSync(tree, copy, { recursive: true });
        const script = `for one; do patch -p1 -F0 --batch --forward --no-backup-if-mismatch -r - <"$0/$one" || exit; done`;
        const { status, stdout } = spawnSync('sh', ['-c', script, patches, ...names], {
          cwd: copy,
          encoding: 'utf8',
        });
        expect([status, stdout.slice(-500)]).toEqual([0, expect.anything()]);
        const referee = await contentOf(copy);
        const ours = working.files();
        expect([...ours.keys()].sort()).toEqual([...referee.keys()].sort());
        const differing = [...referee]
          .filter(([path, text]) => ours.get(path)?.text !== text)
          .map(([path]) => path);
        expect(differing).toEqual([]);
        const modes = [...ours].filter(
          ([path, file]) => file.executable !== ((statSync(join(copy, path)).mode & 0o100) !== 0),
        );
        expect(modes.map(([path]) => path)).toEqual([]);
      } finally {
        rmSync(copy, { recursive: true, force: true });
      }
    },
  );

  it(
    'gone wrong in sixteen ways are judged as GNU patch without fuzz does it',
    { timeout: 30 * minutes },
    async (context) => {
      const { stack, files } = await needed(context);
      const random = seededRandom(61);
      const cases: Mutated[] = [];
      for (const fitting of fittingPatches(stack, files)) {
        // each patch goes wrong in a few ways, and each way with many patches
        for (let turn = 0; turn < 3; turn += 1) {
          const mutated = mutate(fitting, random.pick(mutationKinds), random);
          if (mutated) cases.push(mutated);
        }
      }
      expect(cases.length).toBeGreaterThan(300);
      const rows = judgeMutations(cases);
      expect(rows.length).toBe(mutationKinds.length);
      console.table(rows.map(({ ours, ...row }) => ({ ...row, ours: JSON.stringify(ours) })));
    },
  );
});

/** Each patch with its files, as they are when its turn comes. */
function* fittingPatches(stack: readonly StackPatch[], files: PatchedFiles): Generator<FittingPatch> {
  const working = new WorkingTree(files);
  for (const patch of stack) {
    const touched = new Set(
      parsePatch(patch.name, patch.text).files.flatMap(({ oldPath, newPath }) => [oldPath, newPath]),
    );
    const now = (): Tree =>
      Object.fromEntries(
        [...touched].flatMap((path) => {
          const file = path === undefined ? undefined : working.read(path);
          return path === undefined || !file ? [] : [[path, file.text]];
        }),
      );
    const before = now();
    applyPatch(working, patch, decoding);
    yield { name: patch.name, patch: patch.text, before, after: now() };
  }
}
