/** What is said of patches that meet another tree than the one they were made for, one case each; and in what time. */
import { describe, expect, it } from 'vitest';

import { formatText } from '../../src/diagnostics/format-text.ts';
import type { Diagnostic } from '../../src/diagnostics/diagnostic.ts';
import { applyStack, type AppliedStack } from '../../src/patch/apply-patch.ts';
import type { StackPatch } from '../../src/patch/explain-misfits.ts';
import { WorkingTree, type TreeNames } from '../../src/patch/working-tree.ts';
import { decoding } from '../../src/source/decoding.ts';
import { gnuPatch, plainDiff, show, toFiles, type Tree } from './gnu-patch.ts';

const path = 'drivers/gauge/gauge.c';
const lines = Array.from({ length: 40 }, (_, nth) => `\tint gauge_${nth};\n`);
const gauge = lines.join('');
const changed = lines.toSpliced(20, 1, '\tint weir;\n', '\tint bank;\n').join('');
const patch = plainDiff(path, gauge, changed);

function run(
  tree: Tree,
  patches: readonly (Partial<StackPatch> & { readonly text: string })[],
  names: TreeNames = {},
): AppliedStack & { readonly after: Tree } {
  const working = new WorkingTree(toFiles(tree), () => true, names);
  const stack = patches.map((one, nth) => ({
    name: `${nth + 1}.patch`,
    strip: 1,
    reverse: false,
    fuzz: 0,
    ...one,
  }));
  return { ...applyStack(working, stack, decoding), after: show(working.files()) };
}

function said(
  tree: Tree,
  text: string,
  options: Partial<StackPatch> = {},
  names: TreeNames = {},
): Diagnostic {
  const [first] = run(tree, [{ text, ...options }], names).diagnostics;
  if (!first) throw new Error('nothing is said');
  return first;
}

describe('a patch', () => {
  it('that fits is not talked about', () => {
    expect(run({ [path]: gauge }, [{ text: patch }]).diagnostics).toEqual([]);
  });

  it('that stands elsewhere is applied, and told of in one note for the whole stack', () => {
    const { diagnostics, after, patches } = run({ [path]: `otter\n\n${gauge}` }, [{ text: patch }]);
    expect(diagnostics).toMatchObject([
      { code: 'patch/offset', severity: 'note', notes: ['`1.patch`: 1 of 1, up to 2 lines off.'] },
    ]);
    expect(after).toEqual({ [path]: `otter\n\n${changed}` });
    expect(patches[0]).toMatchObject({ files: 1, hunks: 1, moved: 1, furthest: 2, fuzzy: 0 });
  });

  it.each([1, 2])(
    'that needs fuzz %i is refused, and applied as GNU patch does it where the spec allows it',
    (fuzz) => {
      const tree = {
        [path]: lines.toSpliced(17, fuzz, ...Array.from({ length: fuzz }, () => '\tint otter;\n')).join(''),
      };
      const refused = said(tree, patch);
      expect(refused).toMatchObject({
        code: 'patch/needs-fuzz',
        exit: 4,
        help: expect.stringContaining(`fuzz: ${fuzz}`),
      });
      const { diagnostics, after } = run(tree, [{ text: patch, fuzz }]);
      expect(diagnostics).toMatchObject([{ code: 'patch/fuzz', severity: 'warning' }]);
      expect(after).toEqual(gnuPatch(tree, patch, { fuzz }));
    },
  );

  it('whose place has changed is shown beside what stands there', () => {
    const tree = { [path]: lines.with(20, '\tlong otter;\n').join('') };
    const found = said(tree, patch);
    expect(found.code).toBe('patch/does-not-apply');
    expect(found.message).toContain('hunk 1 of 1 for `drivers/gauge/gauge.c`, at its line 18');
    expect(formatText([found], new Map([['1.patch', patch]]), { color: false })).toContain(
      [
        '  note: the hunk expects                                   line 18 of the file on',
        '            int gauge_17;                                      int gauge_17;',
        '            int gauge_18;                                      int gauge_18;',
        '            int gauge_19;                                      int gauge_19;',
        '            int gauge_20;                                ≠     long otter;',
        '            int gauge_21;                                      int gauge_21;',
      ].join('\n'),
    );
  });

  it('that is in the tree already says so', () => {
    expect(said({ [path]: changed }, patch)).toMatchObject({ code: 'patch/already-applied', exit: 4 });
  });

  it('that is to be taken back and is not there is told to be applied as it is', () => {
    expect(said({ [path]: gauge }, patch, { reverse: true })).toMatchObject({
      code: 'patch/already-applied',
      notes: [expect.not.stringContaining('Backwards')],
      help: expect.stringContaining('`reverse: true`'),
    });
  });

  it('that is there in part says of which file', () => {
    const other = patch.replaceAll('gauge.c', 'other.c');
    const { diagnostics } = run({ [path]: changed, 'drivers/gauge/other.c': gauge }, [
      { text: other + patch },
    ]);
    expect(diagnostics).toMatchObject([
      { code: 'patch/already-applied', message: expect.stringContaining('`drivers/gauge/gauge.c`') },
    ]);
  });

  it('that was made the wrong way round is told from one that is there already by its names or times', () => {
    const turned = plainDiff(path, changed, gauge);
    const named = turned.replace('--- a/', '--- b/').replace('+++ b/', '+++ a/');
    expect(said({ [path]: gauge }, named)).toMatchObject({
      code: 'patch/reversed',
      help: expect.stringContaining('reverse: true'),
    });
    const dated = turned
      .replace(/^(--- .*)$/m, '$1\t2026-02-01 00:00:00 +0000')
      .replace(/^(\+\+\+ .*)$/m, '$1\t2026-01-01 00:00:00 +0000');
    expect(said({ [path]: gauge }, dated).code).toBe('patch/reversed');
    expect(said({ [path]: gauge }, turned).code).toBe('patch/already-applied');
    const { diagnostics, after } = run({ [path]: gauge }, [{ text: named, reverse: true }]);
    expect([diagnostics, after]).toEqual([[], { [path]: changed }]);
  });

  it.each([
    [0, patch.replaceAll(/^(---|\+\+\+) [ab]\//gm, '$1 ')],
    [2, patch.replaceAll(/^(---|\+\+\+) /gm, '$1 linux-6.1/')],
    [3, patch.replaceAll(/^(---|\+\+\+) /gm, '$1 src/linux/')],
  ])('with %i folders in front says so, and applies when the spec does', (strip, text) => {
    const found = said({ [path]: gauge }, text);
    expect(found).toMatchObject({
      code: 'patch/wrong-strip',
      help: expect.stringContaining(`strip: ${strip}`),
    });
    expect(run({ [path]: gauge }, [{ text, strip }]).after).toEqual({ [path]: changed });
  });

  it('whose lines end otherwise than those of the file says which has what', () => {
    const crlf = gauge.replaceAll('\n', '\r\n');
    expect(said({ [path]: crlf }, patch)).toMatchObject({
      code: 'patch/line-ends',
      notes: ['Carriage returns at the ends of lines: the file has them, the patch has not.'],
    });
    expect(said({ [path]: gauge }, patch.replaceAll('\n', '\r\n'))).toMatchObject({
      code: 'patch/carriage-returns',
      severity: 'note',
    });
    // the header has none, so that those of the lines are theirs
    const mixed = patch.replaceAll(/^([ +-](?![+-]).*)$/gm, '$1\r');
    expect(said({ [path]: gauge }, mixed)).toMatchObject({
      code: 'patch/line-ends',
      notes: ['Carriage returns at the ends of lines: the patch has them, the file has not.'],
    });
    expect(run({ [path]: crlf }, [{ text: mixed }]).diagnostics).toEqual([]);
  });

  it('of which blanks and tabs have changed on the way says so', () => {
    const found = said({ [path]: gauge }, patch.replaceAll('\t', '        '));
    expect(found.code).toBe('patch/does-not-apply');
    expect(found.notes[0]).toContain('blanks');
  });

  it('for a file that is elsewhere, or called otherwise, names it', () => {
    const paths = new Set(['drivers/weir/gauge.c', 'drivers/gauge/gauges.c', 'Makefile']);
    expect(said({}, patch, {}, { paths })).toMatchObject({
      code: 'patch/no-file',
      notes: ['The tree has `drivers/weir/gauge.c`.'],
    });
    paths.delete('drivers/weir/gauge.c');
    expect(said({}, patch, {}, { paths }).notes).toEqual(['The tree has `drivers/gauge/gauges.c`.']);
    paths.delete('drivers/gauge/gauges.c');
    expect(said({}, patch, {}, { paths }).notes).toEqual([]);
  });

  it('for a file that an earlier patch has removed names that', () => {
    const gone = `--- a/${path}\n+++ /dev/null\n@@ -1,40 +0,0 @@\n${lines.map((line) => `-${line}`).join('')}`;
    const { diagnostics } = run({ [path]: gauge }, [{ text: gone }, { text: patch }]);
    expect(diagnostics).toMatchObject([
      { code: 'patch/file-gone', notes: ['`1.patch` removes or renames it.'] },
    ]);
  });

  it('that makes a file which is there says whether it is the same', () => {
    const fresh = '--- /dev/null\n+++ b/new.h\n@@ -0,0 +1 @@\n+otter\n';
    expect(said({ 'new.h': 'weir\n' }, fresh)).toMatchObject({ code: 'patch/file-exists', notes: [] });
    expect(said({ 'new.h': 'otter\n' }, fresh)).toMatchObject({
      code: 'patch/file-exists',
      notes: [expect.stringContaining('what stands there')],
    });
    // the content is not at hand, and the name is
    expect(said({}, fresh, {}, { paths: new Set(['new.h']) }).code).toBe('patch/file-exists');
  });

  it('of a link is not followed', () => {
    expect(said({ [path]: gauge }, patch, {}, { links: new Set([path]) })).toMatchObject({
      code: 'patch/unreadable-change',
      message: expect.stringContaining('symbolic link'),
    });
  });

  it('that changes which options there are is told of', () => {
    const before = 'config OTTER\n\tbool "otter"\n\nconfig WEIR\n\tbool "weir"\n';
    const after =
      'config OTTER\n\tbool "otter"\n\nmenuconfig RIVER\n\tbool "river"\n\nconfig WEIR_2\n\tbool "weir"\n';
    const text = plainDiff('drivers/gauge/Kconfig', before, after);
    const { diagnostics, patches } = run({ 'drivers/gauge/Kconfig': before }, [{ text }]);
    expect(diagnostics).toMatchObject([
      { code: 'patch/options', notes: ['`1.patch`: adds RIVER, WEIR_2; takes out WEIR.'] },
    ]);
    expect(patches[0]).toMatchObject({ adds: ['RIVER', 'WEIR_2'], removes: ['WEIR'] });
  });

  it('behind one that does not apply is not tried: it meets another tree', () => {
    const { diagnostics, patches } = run({ [path]: 'otter\n' }, [{ text: patch }, { text: 'no patch' }]);
    expect(diagnostics.map(({ code }) => code)).toEqual(['patch/does-not-apply']);
    expect(patches).toEqual([]);
  });
});

describe('a hostile patch', () => {
  const many = 100_000;

  it.each<[string, Tree, string]>([
    [
      'of many equal lines that fit nowhere',
      { x: 'a\n'.repeat(many) },
      `--- a/x\n+++ b/x\n@@ -1,${many / 2} +1,${many / 2 - 1} @@\n${' a\n'.repeat(many / 2 - 1)}-b\n`,
    ],
    [
      'of a huge hunk far from its place',
      { x: `${'a\nb\n'.repeat(many / 4)}c\n${'a\nb\n'.repeat(many / 4)}` },
      `--- a/x\n+++ b/x\n@@ -1,${many / 2 + 1} +1,${many / 2 + 1} @@\n${' a\n b\n'.repeat(many / 4)}-c\n+d\n`,
    ],
    [
      'of many hunks that fit nowhere',
      { x: 'a\n'.repeat(50_000) },
      `--- a/x\n+++ b/x\n${'@@ -1 +1 @@\n-b\n+c\n'.repeat(50_000)}`,
    ],
    ['of many files', {}, '--- a/x\n+++ b/x\n@@ -1 +1 @@\n-a\n+b\n'.repeat(20_000)],
    ['of one long line', { x: 'a' }, `--- a/x\n+++ b/x\n@@ -1 +1 @@\n-${'a '.repeat(2_000_000)}\n+b\n`],
    ['of slashes', {}, `--- a${'/'.repeat(1_000_000)}x\n+++ b${'/x'.repeat(500_000)}\n@@ -1 +1 @@\n-a\n+b\n`],
    [
      'of quotation marks',
      {},
      `diff --git "${'\\"'.repeat(500_000)} "${'\\'.repeat(500_000)}\nnew file mode 100644\n`,
    ],
    [
      'of binary data that would unpack to far more',
      { x: '' },
      `diff --git a/x b/x\nindex ${'e'.repeat(40)}..${'1'.repeat(40)} 100644\nGIT binary patch\nliteral 60000000\n${'zcmV;Z0`C9-c%1-Y0000'.padEnd(66, '0')}\n\n`,
    ],
  ])('%s ends in time, with a word', (_, tree, text) => {
    const start = performance.now();
    const { diagnostics } = run(tree, [{ text }]);
    expect(diagnostics.some(({ severity }) => severity === 'error') || diagnostics.length <= 1).toBe(true);
    expect(diagnostics.length).toBeLessThan(20);
    expect(performance.now() - start).toBeLessThan(15_000);
  });
});
