/** What `git format-patch` of a real repository gives, read and applied as git and GNU patch do; series, headers, globs. */
import { spawnSync } from 'node:child_process';
import { chmodSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';

import { afterAll, beforeAll, describe, expect, it } from 'vitest';

import { exitOf } from '../../src/diagnostics/diagnostic.ts';
import { applyPatch, type AppliedPatch } from '../../src/patch/apply-patch.ts';
import { globFolder, inByteOrder, isGlob, matchesGlob } from '../../src/patch/glob.ts';
import { readMessages } from '../../src/patch/patch-headers.ts';
import { parseSeries } from '../../src/patch/series.ts';
import { WorkingTree } from '../../src/patch/working-tree.ts';
import { decoding } from '../../src/source/decoding.ts';
import { gnuPatchAll, readTree, show, toFiles, type Tree } from './gnu-patch.ts';

let work: string;
beforeAll(() => {
  work = mkdtempSync(join(tmpdir(), 'quern-git-'));
});
afterAll(() => rmSync(work, { recursive: true, force: true }));

/** A repository with a commit for each step; the last ones come as a mailbox. */
function mailbox(steps: readonly (() => void)[], options: readonly string[]): string {
  const environment = {
    PATH: process.env['PATH'],
    HOME: work,
    GIT_CONFIG_NOSYSTEM: '1',
    ...Object.fromEntries(
      ['AUTHOR', 'COMMITTER'].flatMap((who) => [
        [`GIT_${who}_NAME`, 'Otter Bank'],
        [`GIT_${who}_EMAIL`, 'gauge@otter-bank.example'],
        [`GIT_${who}_DATE`, '2026-01-01T00:00:00Z'],
      ]),
    ),
  };
  const git = (...words: readonly string[]): string => {
    const ran = spawnSync('git', words, { cwd: work, env: environment, encoding: 'latin1' });
    if (ran.status !== 0) throw new Error(ran.stderr);
    return ran.stdout;
  };
  git('init', '-q');
  for (const [nth, step] of steps.entries()) {
    step();
    git('add', '-A');
    git(
      'commit',
      '-qm',
      `gauge: step ${nth}\n\nA word about it:\n\n    --- a/none\n    +++ b/none\n    @@ -1 +1 @@\n`,
    );
  }
  return git('format-patch', '--stdout', ...options, `HEAD~${steps.length - 1}`);
}

function write(path: string, content: string, mode = 0o644): void {
  mkdirSync(dirname(join(work, path)), { recursive: true });
  writeFileSync(join(work, path), content, 'latin1');
  chmodSync(join(work, path), mode);
}

const remove = (path: string): void => rmSync(join(work, path));

/** As `readTree`, without what git keeps for itself. */
function here(): Tree {
  return Object.fromEntries(Object.entries(readTree(work)).filter(([path]) => !path.startsWith('.git/')));
}

/** Bytes of no text, always the same. */
function bytes(length: number, seed: number): string {
  let state = seed;
  return Array.from({ length }, () => {
    state = (state * 1_103_515_245 + 12_345) % 2 ** 31;
    return String.fromCharCode((state >> 8) & 0xff);
  }).join('');
}

function apply(before: Tree, text: string, reverse = false): AppliedPatch & { readonly after: Tree } {
  const tree = new WorkingTree(toFiles(before));
  const applied = applyPatch(tree, { name: 'p', text, strip: 1, reverse, fuzz: 0 }, decoding);
  return { ...applied, after: show(tree.files()) };
}

/** What a kit makes of the steps: GNU patch for text, the content itself for the rest. */
function takeSteps(before: Tree, { steps }: AppliedPatch, reverse = false): Tree | undefined {
  let tree: Tree | undefined = before;
  for (const step of steps) {
    if (!tree) return undefined;
    if (step.kind === 'apply') {
      const [after]: readonly (Tree | undefined)[] = gnuPatchAll([
        { tree: plain(tree), patch: step.text, options: { reverse } },
      ]);
      tree = after;
    } else {
      const { [step.path]: _, ...rest }: Tree = tree;
      tree =
        step.kind === 'remove' ? rest : { ...rest, [step.path]: mark(step.file.text, step.file.executable) };
    }
  }
  return tree && Object.fromEntries(Object.entries(tree).sort(([a], [b]) => (a < b ? -1 : 1)));
}

const mark = (text: string, executable: boolean): string => (executable ? 'x ' : '') + text;
const plain = (tree: Tree): Tree =>
  Object.fromEntries(Object.entries(tree).map(([path, text]) => [path, text.replace(/^x /, '')]));

describe('a mailbox of git', () => {
  const lines = Array.from({ length: 40 }, (_, nth) => `int gauge_${nth};\n`).join('');
  const logo = bytes(3000, 7);
  let before: Tree;
  let after: Tree;
  let mbox: string;
  beforeAll(() => {
    mbox = mailbox(
      [
        () => {
          write('drivers/gauge/gauge.c', lines);
          write('drivers/gauge/old.h', '#define OTTER 1\n');
          write('scripts/probe.sh', '#!/bin/sh\necho y\n', 0o755);
          write('logo.bin', logo);
          write('gone.bin', `\0${bytes(200, 3)}`);
          before = here();
        },
        () => write('drivers/gauge/gauge.c', lines.replace('int gauge_7;\n', 'long gauge_7;\nint weir;\n')),
        // renamed in one message and changed in the next
        () => {
          remove('drivers/gauge/old.h');
          write('include/otter.h', '#define OTTER 1\n');
          write('scripts/probe.sh', '# nothing\n');
        },
        () => write('include/otter.h', '#define OTTER 2\n'),
        () => {
          write('logo.bin', logo.replace(logo.slice(100, 120), bytes(40, 9)));
          write('new.bin', `\0${bytes(500, 11)}`);
          remove('gone.bin');
        },
        () => write('new.bin', `\0${bytes(90, 12)}`),
        () => write('drivers/gauge/gauge.c', `${lines}int end;\n`),
      ],
      ['--binary', '--full-index', '-M'],
    );
    after = here();
  });

  it('comes to what git comes to, with renames, modes and binary data', () => {
    expect(mbox).toContain('\ndelta ');
    expect(mbox).toContain('\nliteral ');
    expect(mbox).toContain('\nrename from ');
    const applied = apply(plain(before), mbox);
    expect(applied.diagnostics).toEqual([]);
    expect(applied.after).toEqual(after);
    expect(applied.headers.map(({ subject }) => subject)).toEqual(
      [1, 2, 3, 4, 5, 6].map((nth) => `gauge: step ${nth}`),
    );
  });

  it('is built as it was tried: GNU patch does the text, and is kept from what only looks like a change', () => {
    const applied = apply(plain(before), mbox);
    expect(applied.steps.map(({ kind }) => kind)).toEqual(
      expect.arrayContaining(['apply', 'write', 'remove']),
    );
    expect(takeSteps(before, applied)).toEqual(after);
  });

  it('is taken back as it was applied', () => {
    const applied = apply(plain(after), mbox, true);
    expect(applied.diagnostics).toEqual([]);
    // what may be executed is told by git alone
    expect(applied.after).toEqual(before);
    expect(takeSteps(after, applied, true)).toEqual(before);
  });

  it('put together again from its pieces is the mailbox, where it has text alone', () => {
    const text =
      'From 0123456789012345678901234567890123456789 Mon Sep 17 00:00:00 2001\nSubject: one\n\n--- a/x\n+++ b/x\n@@ -1 +1 @@\n-a\n+b\n';
    const two = `${text}-- \n2.39.5\n\n${text.replace('one', 'two').replace('-a\n+b', '-b\n+c')}`;
    const { steps } = apply({ x: 'a\n' }, two);
    expect(steps).toHaveLength(2);
    expect(steps.map((step) => (step.kind === 'apply' ? step.text : '')).join('')).toBe(two);
  });

  it('of binary data without its digests, or for other content, is refused as git does', () => {
    const cut = mbox.replaceAll(/^index ([0-9a-f]{7})[0-9a-f]+\.\.([0-9a-f]{7})[0-9a-f]+/gm, 'index $1..$2');
    expect(codes(before, cut)).toContain('patch/unreadable-change');
    expect(codes({ ...before, 'logo.bin': `${logo}x` }, mbox)).toContain('patch/does-not-apply');
    const damaged = mbox.replace(
      /(b\/new\.bin\nnew file mode 100644\nindex .*\nGIT binary patch\nliteral \d+\n.{20})(.)/,
      (_, start: string, one: string) => start + (one === 'a' ? 'b' : 'a'),
    );
    expect(codes(before, damaged)).toContain('patch/unreadable-change');
    const left = mbox.replaceAll(
      /^GIT binary patch\n[^]*?\n\n(?:(?:literal|delta)[^]*?\n\n)?/gm,
      'Binary files differ\n',
    );
    expect(codes(before, left)).toContain('patch/unreadable-change');
  });

  function codes(tree: Tree, text: string): readonly string[] {
    const found = apply(plain(tree), text).diagnostics;
    expect(exitOf(found)).toBe(4);
    return found.map(({ code }) => code);
  }
});

it.each<[string, string, string]>([
  ['a link', 'new file mode 120000', 'patch/unreadable-change'],
  ['a submodule', 'new file mode 160000', 'patch/unreadable-change'],
])('does not follow %s', (_, mode, code) => {
  const text = `diff --git a/x b/x\n${mode}\nindex 0000000..1234567\n--- /dev/null\n+++ b/x\n@@ -0,0 +1 @@\n+y\n`;
  expect(apply({}, text).diagnostics).toMatchObject([{ code }]);
});

it.each(['../../etc/passwd', 'a/./b', 'weir\x01', 'w\xe4sser'])('writes no file %j', (path) => {
  const text = `diff --git "a/${path}" "b/${path}"\nnew file mode 100644\n--- /dev/null\n+++ "b/${path}"\n@@ -0,0 +1 @@\n+y\n`;
  const { diagnostics, after } = apply({}, text);
  expect([exitOf(diagnostics), after]).toEqual([4, {}]);
});

describe('a header', () => {
  it('of DEP-3 is read in all its fields, as the page has them', () => {
    // the first example of https://dep-team.pages.debian.net/deps/dep3/, with names of our own
    const text = `From: Ulrike Otter <ulrike@otter-bank.example>
Subject: Fix the gauge's overflow
Origin: upstream, https://otter-bank.example/commit/1234
Bug: https://otter-bank.example/bugs/5
Forwarded: not-needed
Applied-Upstream: v6.2, commit:1234
Last-Update: 2026-01-01
---
This patch header follows DEP-3
--- a/x
+++ b/x
`;
    expect(readMessages(text)).toEqual([
      {
        start: 0,
        header: {
          author: 'Ulrike Otter <ulrike@otter-bank.example>',
          subject: "Fix the gauge's overflow",
          origin: 'upstream, https://otter-bank.example/commit/1234',
          bug: 'https://otter-bank.example/bugs/5',
          forwarded: 'not-needed',
          appliedUpstream: 'v6.2, commit:1234',
          lastUpdate: '2026-01-01',
        },
      },
    ]);
  });

  it('has a description of many lines, of which the first is the short one', () => {
    const text =
      'Description: gauge: count otters\n A long word\n .\n about it.\nAuthor: Otter\n\n--- a/x\n+++ b/x\n';
    expect(readMessages(text)[0]?.header).toEqual({ subject: 'gauge: count otters', author: 'Otter' });
  });

  it('of a mail may be folded', () => {
    const text = 'Subject: [PATCH 1/2] gauge: a long\n subject\nFrom: Otter\n\nWord: no header\n---\n';
    expect(readMessages(text)[0]?.header).toEqual({ subject: 'gauge: a long subject', author: 'Otter' });
  });
});

describe('a series', () => {
  it('has comments, levels and directions, as quilt(1) describes them', () => {
    const text =
      '# otters\n\n0001.patch\n0002.patch -p0 # why\n  0003.patch -R -p2\n0004.patch -pab\n0005#1.patch --strip=3\n';
    const { entries, diagnostics } = parseSeries('series', text);
    expect(diagnostics).toEqual([]);
    expect(entries.map(({ path, strip, reverse }) => [path, strip, reverse])).toEqual([
      ['0001.patch', 1, false],
      ['0002.patch', 0, false],
      ['0003.patch', 2, true],
      ['0004.patch', 1, false],
      ['0005#1.patch', 3, false],
    ]);
  });

  it('with an option that is not known is told of, with its place', () => {
    const { diagnostics } = parseSeries('series', 'a.patch\nb.patch -p99\n');
    expect(diagnostics).toMatchObject([
      { code: 'patch/bad-series', span: { file: 'series', start: 8, end: 20 } },
    ]);
  });
});

describe('a pattern', () => {
  const names = [
    'a.patch',
    'ab.patch',
    'B.patch',
    '10.patch',
    '9.patch',
    '.hidden.patch',
    'c/d.patch',
    '[x].patch',
    'ä.patch',
    'a-b.diff',
  ];

  it.each([
    '*.patch',
    '?.patch',
    '[ab].patch',
    '[!a]*.patch',
    '[0-9]*.patch',
    '*/*.patch',
    '.*',
    'a*b*',
    '**.patch',
    '*-?.diff',
  ])('%s matches what the shell says', (pattern) => {
    // in a folder of its own, by bash, in the order of bytes
    const folder = mkdtempSync(join(tmpdir(), 'quern-glob-'));
    try {
      for (const name of names) {
        mkdirSync(dirname(join(folder, name)), { recursive: true });
        writeFileSync(join(folder, name), '');
      }
      const script = `for one in ${pattern}; do [ -f "$one" ] && echo "$one"; done; true`;
      const { stdout } = spawnSync('bash', ['-c', script], {
        cwd: folder,
        env: { LC_ALL: 'C.UTF-8' },
        encoding: 'utf8',
      });
      const shell = stdout.split('\n').filter(Boolean).sort(inByteOrder);
      expect(names.filter((name) => matchesGlob(pattern, name)).sort(inByteOrder)).toEqual(shell);
    } finally {
      rmSync(folder, { recursive: true, force: true });
    }
  });

  it('is told from a name, and says where to look', () => {
    expect(['a.patch', 'a*.patch', 'a?', 'a[1]'].map(isGlob)).toEqual([false, true, true, true]);
    expect(['a/b/*.patch', '*', 'a*/b'].map(globFolder)).toEqual(['a/b', '', '']);
  });

  it('of many stars takes no longer for a name that does not match', () => {
    const start = performance.now();
    expect(matchesGlob(`${'*a'.repeat(200)}b`, 'a'.repeat(900))).toBe(false);
    expect(performance.now() - start).toBeLessThan(1000);
  });
});

it('puts names in the order of their bytes, as sort(1) does', () => {
  const names = ['10', '9', 'B', 'a', 'ä', 'Z', '\u{10000}', '\uffee'];
  const { stdout } = spawnSync('sort', [], {
    input: names.join('\n'),
    env: { LC_ALL: 'C', PATH: process.env['PATH'] },
    encoding: 'utf8',
  });
  expect([...names].sort(inByteOrder)).toEqual(stdout.trim().split('\n'));
});
