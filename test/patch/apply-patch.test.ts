import fc from 'fast-check';
import { describe, expect, it } from 'vitest';

import { exitOf } from '../../src/diagnostics/diagnostic.ts';
import { applyPatch, type AppliedPatch } from '../../src/patch/apply-patch.ts';
import { WorkingTree, type TreeNames } from '../../src/patch/working-tree.ts';
import { decoding } from '../../src/source/decoding.ts';
import {
  gitDiff,
  gnuPatch,
  gnuPatchAll,
  plainDiff,
  plainDiffs,
  show,
  toFiles,
  type PatchOptions,
  type Tree,
} from './gnu-patch.ts';

const everything: (path: string) => boolean = () => true;

interface Options extends PatchOptions {
  readonly matters?: (path: string) => boolean;
  readonly names?: TreeNames;
  readonly name?: string;
}

function run(tree: Tree, text: string, options: Options = {}): AppliedPatch & { readonly tree: WorkingTree } {
  const { strip = 1, reverse = false, fuzz = 0, name = 'p.patch' } = options;
  const working = new WorkingTree(toFiles(tree), options.matters ?? everything, options.names);
  return { ...applyPatch(working, { name, text, strip, reverse, fuzz }, decoding), tree: working };
}

/** What we make of it; `undefined` when it does not apply. */
function apply(tree: Tree, patch: string, options: Options = {}): Tree | undefined {
  const { tree: after, diagnostics } = run(tree, patch, options);
  return exitOf(diagnostics) === 0 ? show(after.files()) : undefined;
}

function codes(tree: Tree, patch: string, options: Options = {}): readonly string[] {
  return run(tree, patch, options).diagnostics.map(({ code }) => code);
}

const gauge = Array.from({ length: 24 }, (_, nth) => `config GAUGE_${nth}\n\tbool "gauge ${nth}"\n`).join('');
const changed = gauge.replace('\tbool "gauge 11"\n', '\tbool "gauge 11"\n\tdepends on RIVER\n');

describe('applyPatch', () => {
  // Few different lines: hunks then fit in several places, and which one is taken shows.
  const line = fc.constantFrom('config A', '\tbool "x"', '\tdepends on B', '', '\thelp', 'if X', 'endif');
  const lines = fc.array(line, { minLength: 3, maxLength: 30 });
  const edit = fc.record({ at: fc.nat(40), drop: fc.nat(2), add: fc.array(line, { maxLength: 3 }) });
  const edits = fc.array(edit, { minLength: 1, maxLength: 3 });
  const text = (from: readonly string[], ended: boolean): string => from.join('\n') + (ended ? '\n' : '');
  const edited = (
    from: readonly string[],
    list: readonly { at: number; drop: number; add: string[] }[],
  ): string[] =>
    list.reduce((now, { at, drop, add }) => now.toSpliced(at % (now.length + 1), drop, ...add), [...from]);
  const ended = fc.oneof({ weight: 6, arbitrary: fc.constant(true) }, fc.constant(false));

  const drifting = fc.record({
    base: lines,
    changes: edits,
    drift: fc.array(edit, { maxLength: 3 }),
    context: fc.constantFrom(3, 3, 3, 2, 1, 0),
    ends: fc.tuple(ended, ended, ended),
    options: fc.record({ fuzz: fc.constantFrom(0, 0, 1, 2), reverse: fc.boolean() }),
  });

  it('does with generated patches on changed files what GNU patch does', { timeout: 120_000 }, () => {
    const samples = fc.sample(drifting, { numRuns: 240, seed: 20_261_126 });
    const patches = plainDiffs(
      samples.map(({ base, changes, context, ends: [baseEnd, newEnd] }) => ({
        path: 'Kconfig',
        before: text(base, baseEnd),
        after: text(edited(base, changes), newEnd),
        context,
      })),
    );
    const cases = samples
      .map(({ base, changes, drift, ends, options }, nth) => {
        const from = options.reverse ? edited(base, changes) : base;
        return { tree: { Kconfig: text(edited(from, drift), ends[2]) }, patch: patches[nth] ?? '', options };
      })
      .filter(({ patch }) => patch !== '');
    const seen = { applied: 0, refused: 0 };
    for (const [nth, referee] of gnuPatchAll(cases).entries()) {
      const one = cases[nth];
      if (!one) continue;
      seen[referee ? 'applied' : 'refused'] += 1;
      expect({ ...one, made: apply(one.tree, one.patch, one.options) }).toEqual({ ...one, made: referee });
    }
    expect(seen.applied).toBeGreaterThan(40);
    expect(seen.refused).toBeGreaterThan(40);
  });

  const before: Tree = {
    'drivers/gauge/Kconfig': gauge,
    'drivers/gauge/Makefile': 'obj-y += gauge.o\n',
    'drivers/otter/Kconfig': 'config OTTER\n\tbool "otter"\n',
    'scripts/probe.sh': '#!/bin/sh\necho y\n',
    'init/Kconfig': 'source "drivers/gauge/Kconfig"\n',
  };
  it.each<[string, Tree, readonly string[]]>([
    ['several files', { ...before, 'drivers/gauge/Kconfig': changed, 'init/Kconfig': '# none\n' }, []],
    ['a new file', { ...before, 'drivers/weir/Kconfig': 'config WEIR\n\tbool\n' }, []],
    ['a new program', { ...before, 'scripts/weir.sh': '#!/bin/sh\necho n\n' }, []],
    ['a new empty file', { ...before, 'drivers/weir/Kconfig': '' }, []],
    [
      'a file less',
      Object.fromEntries(Object.entries(before).filter(([path]) => !path.includes('otter'))),
      [],
    ],
    [
      'a file under another name',
      {
        ...Object.fromEntries(Object.entries(before).filter(([path]) => path !== 'drivers/gauge/Kconfig')),
        'drivers/weir/Kconfig': gauge,
      },
      ['-M'],
    ],
    [
      'a file under another name, and changed',
      {
        ...Object.fromEntries(Object.entries(before).filter(([path]) => path !== 'drivers/gauge/Kconfig')),
        'drivers/weir/Kconfig': changed,
      },
      ['-M'],
    ],
    ['a copy', { ...before, 'drivers/weir/Kconfig': changed }, ['-C', '--find-copies-harder']],
    ['a program that is no longer one', { ...before, 'scripts/probe.sh': '# nothing\n' }, []],
    ['bytes that are no UTF-8', { ...before, 'init/Kconfig': 'comment "Gew\xe4sser \xff"\n' }, ['--text']],
  ])('follows git with %s as GNU patch does', (_, after, options) => {
    const patch = gitDiff(before, after, ...options);
    const referee = gnuPatch(before, patch);
    expect(referee).toEqual(show(toFiles(after)));
    expect(apply(before, patch)).toEqual(referee);
  });

  it('reads a mail around the patch, as GNU patch does', () => {
    const mail =
      `From 1111 Mon Sep 17 00:00:00 2001\nSubject: [PATCH] gauge: needs a river\n\n` +
      `--- a note, and no header\n---\n drivers/gauge/Kconfig | 1 +\n\n` +
      `${gitDiff(before, { ...before, 'drivers/gauge/Kconfig': changed })}-- \n2.39.5\n\n`;
    expect(apply(before, mail)).toEqual(gnuPatch(before, mail));
    expect(apply(before, mail)?.['drivers/gauge/Kconfig']).toBe(changed);
  });

  const hunk = '@@ -1,2 +1,3 @@\n config OTTER\n \tbool "otter"\n+\tdepends on RIVER\n';
  it.each<[string, string]>([
    [
      'times',
      `--- a/drivers/otter/Kconfig\t2026-01-01 10:00:00.000000000 +0100\n+++ b/drivers/otter/Kconfig\t2026-01-01 10:00:00 +0100\n${hunk}`,
    ],
    ['names that differ', `--- a/drivers/otter/Kconfig.orig\n+++ b/drivers/otter/Kconfig\n${hunk}`],
    ['names in quotes', `--- "a/drivers/otter/Kconfi\\147"\n+++ "b/drivers/otter/Kconfi\\147"\n${hunk}`],
    [
      'other line ends',
      `--- a/drivers/otter/Kconfig\n+++ b/drivers/otter/Kconfig\n${hunk}`.replaceAll('\n', '\r\n'),
    ],
    [
      'an empty context line',
      '--- a/init/Kconfig\n+++ b/init/Kconfig\n@@ -1 +1,2 @@\n source "drivers/gauge/Kconfig"\n+x\n',
    ],
    [
      'a new file at the beginning of time',
      '--- a/new\t1970-01-01 00:00:00.000000000 +0000\n+++ b/new\t2026-01-01 00:00:00.000000000 +0000\n@@ -0,0 +1 @@\n+x\n',
    ],
    [
      'a file cut to nothing',
      '--- a/drivers/otter/Kconfig\t2026-01-01 00:00:00.000000000 +0000\n+++ b/drivers/otter/Kconfig\t1970-01-01 00:00:00.000000000 +0000\n@@ -1,2 +0,0 @@\n-config OTTER\n-\tbool "otter"\n',
    ],
    ['a file that is there already', '--- /dev/null\n+++ b/init/Kconfig\n@@ -0,0 +1 @@\n+x\n'],
    [
      'a file that is not empty behind it',
      '--- a/drivers/otter/Kconfig\n+++ /dev/null\n@@ -1 +0,0 @@\n-config OTTER\n',
    ],
    ['a file that is not there', `--- a/drivers/beaver/Kconfig\n+++ b/drivers/beaver/Kconfig\n${hunk}`],
    [
      'changes that are there already',
      '--- a/drivers/otter/Kconfig\n+++ b/drivers/otter/Kconfig\n@@ -1 +1,2 @@\n config OTTER\n+\tbool "otter"\n',
    ],
    ['no folder to leave out', `--- Kconfig\n+++ Kconfig\n${hunk}`],
  ])('takes %s as GNU patch does', (_, patch) => {
    expect(apply(before, patch)).toEqual(gnuPatch(before, patch));
  });

  it('says file, hunk and line of what does not apply, and where it is in the patch', () => {
    const patch = plainDiff('drivers/gauge/Kconfig', gauge, changed);
    const tree = { ...before, 'drivers/gauge/Kconfig': gauge.replace('"gauge 11"', '"weir"') };
    const [found] = run(tree, patch, { name: 'patches/river.patch' }).diagnostics;
    expect(found).toMatchObject({
      code: 'patch/does-not-apply',
      exit: 4,
      span: { file: 'patches/river.patch' },
    });
    expect(found?.message).toContain('hunk 1 of 1 for `drivers/gauge/Kconfig`, at its line 22');
    expect(patch.slice(found?.span?.start, found?.span?.end)).toMatch(/^@@ [^]*config GAUGE_13$/);
  });

  it('tells that a patch has been applied before', () => {
    const patch = plainDiff('drivers/gauge/Kconfig', gauge, changed);
    const [found] = run({ 'drivers/gauge/Kconfig': changed }, patch).diagnostics;
    expect(found?.code).toBe('patch/already-applied');
  });

  it('passes over files that do not matter', () => {
    const patch = gitDiff(before, {
      ...before,
      'drivers/gauge/Makefile': 'obj-m += gauge.o\n',
      'init/Kconfig': '# x\n',
    });
    const kconfig = Object.fromEntries(Object.entries(before).filter(([path]) => path.endsWith('Kconfig')));
    expect(apply(kconfig, patch, { matters: (path) => path.endsWith('Kconfig') })).toEqual({
      ...kconfig,
      'init/Kconfig': '# x\n',
    });
  });

  const unified = gitDiff(before, { ...before, 'init/Kconfig': '# x\n' });
  it.each<[string, string, string]>([
    ['no patch at all', 'otters\n', 'patch/malformed'],
    ['nothing', '', 'patch/malformed'],
    ['a hunk cut off', '--- a/init/Kconfig\n+++ b/init/Kconfig\n@@ -1,3 +1,3 @@\n x\n', 'patch/malformed'],
    [
      'a hunk too short',
      '--- a/init/Kconfig\n+++ b/init/Kconfig\n@@ -1,3 +1,3 @@\n x\ny\n',
      'patch/malformed',
    ],
    ['a wrong header', '--- a/init/Kconfig\n+++ b/init/Kconfig\n@@ -x,3 +1,3 @@\n x\n', 'patch/malformed'],
    [
      'a huge count',
      '--- a/init/Kconfig\n+++ b/init/Kconfig\n@@ -1,999999999 +1 @@\n x\n',
      'patch/malformed',
    ],
    // patch(1) would apply the first and the third as well: passed over, they would be lost
    [
      'a change in another form behind one that is read',
      `${unified}*** a/drivers/gauge/Kconfig\n--- b/drivers/gauge/Kconfig\n***************\n*** 1 ****\n! x\n--- 1 ----\n! y\n`,
      'patch/malformed',
    ],
    [
      'a combined diff',
      `${unified}diff --cc init/Kconfig\n--- a/init/Kconfig\n+++ b/init/Kconfig\n@@@ -1,2 -1,2 +1,3 @@@\n  x\n`,
      'patch/malformed',
    ],
    [
      'a diff without context',
      `${unified}diff a/init/Kconfig b/init/Kconfig\n1c1\n< x\n---\n> y\n`,
      'patch/malformed',
    ],
    [
      'a binary change',
      'diff --git a/init/Kconfig b/init/Kconfig\nindex 1..2 100644\nBinary files a/init/Kconfig and b/init/Kconfig differ\n',
      'patch/unreadable-change',
    ],
    [
      'a file out of another one not known',
      'diff --git a/x.c b/init/Kconfig.new\nsimilarity index 100%\nrename from x.c\nrename to init/Kconfig.new\n',
      'patch/unreadable-change',
    ],
  ])('refuses %s', (_, patch, code) => {
    expect(codes(before, patch, { matters: (path) => path.includes('Kconfig') })).toEqual([code]);
  });

  it('ends with a result or a diagnostic whatever it is given', () => {
    const valid = gitDiff(before, { ...before, 'drivers/gauge/Kconfig': changed, 'init/Kconfig': '' });
    fc.assert(
      fc.property(
        fc.array(fc.tuple(fc.nat(valid.length), fc.nat(4), fc.string({ maxLength: 4 })), { maxLength: 5 }),
        (cuts) => {
          const patch = cuts.reduce(
            (now, [at, length, put]) => now.slice(0, at) + put + now.slice(at + length),
            valid,
          );
          const { tree, diagnostics } = run(before, patch);
          expect(tree.files().size + diagnostics.length).toBeGreaterThan(0);
          for (const { span } of diagnostics) expect(span?.end ?? 0).toBeLessThanOrEqual(patch.length);
        },
      ),
      { numRuns: 500 },
    );
  });
});
