/** What a kit does with patches, done by its own script in a folder: the very files that the dry run came to. */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  chmodSync,
  cpSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { tryPatches, type PatchedTree } from '../../src/commands/patched-tree.ts';
import type { LocalPatch } from '../../src/commands/spec-files.ts';
import type { Host } from '../../src/host/host.ts';
import { noProgress } from '../../src/host/progress.ts';
import { Store } from '../../src/host/store.ts';
import { layOutPatches, type KitPatches } from '../../src/kit/patches.ts';
import { renderTemplate } from '../../src/kit/templates.ts';
import { storeTree } from '../../src/source/tree-archive.ts';
import { readTree, show, type Tree } from '../patch/gnu-patch.ts';
import { kitTemplates } from './fixture.ts';

let work: string;
beforeEach(() => {
  work = mkdtempSync(join(tmpdir(), 'quern-kit-patches-'));
});
afterEach(() => rmSync(work, { recursive: true, force: true }));

const at = (...parts: readonly string[]): string => join(work, ...parts);

function write(folder: string, path: string, content: string | Uint8Array, mode = 0o644): void {
  mkdirSync(dirname(at(folder, path)), { recursive: true });
  writeFileSync(at(folder, path), content);
  chmodSync(at(folder, path), mode);
}

const before: Tree = {
  Makefile: 'VERSION = 6\nPATCHLEVEL = 1\nSUBLEVEL = 0\n',
  Kconfig: 'mainmenu "Otter Bank"\n',
  'drivers/gauge/gauge.c': 'int level;\nint river;\nint bank;\n',
  'drivers/gauge/old name.h': '#define OTTER 1\n',
  'drivers/gauge/unused.c': 'int unused;\n',
  'scripts/probe.sh': '#!/bin/sh\necho y\n',
  'logo.bin': `\0\x01${'otter'.repeat(40)}`,
};

/** Commits to a repository of `before`, as `git format-patch` writes them. */
function mailbox(): string {
  const git = (...words: readonly string[]): string => {
    const name = {
      GIT_AUTHOR_NAME: 'Otter',
      GIT_COMMITTER_NAME: 'Otter',
      GIT_AUTHOR_EMAIL: 'o@b.example',
      GIT_COMMITTER_EMAIL: 'o@b.example',
    };
    const env = { PATH: process.env['PATH'], HOME: work, GIT_CONFIG_NOSYSTEM: '1', ...name };
    const ran = spawnSync('git', words, { cwd: at('git'), env, encoding: 'latin1' });
    if (ran.status !== 0) throw new Error(ran.stderr);
    return ran.stdout;
  };
  const commit = (): string => git('add', '-A') + git('commit', '-qm', 'gauge: a step');
  cpSync(at('linux'), at('git'), { recursive: true });
  git('init', '-q');
  commit();
  rmSync(at('git/drivers/gauge/old name.h'));
  write('git', 'include/otter.h', '#define OTTER 1\n');
  chmodSync(at('git/scripts/probe.sh'), 0o644);
  commit();
  write('git', 'include/otter.h', '#define OTTER 2\n');
  write('git', 'logo.bin', `\0\x02${'otter'.repeat(40)}`);
  write('git', 'tools/run', '\0binary', 0o755);
  rmSync(at('git/drivers/gauge/unused.c'));
  commit();
  return git('format-patch', '--stdout', '--binary', '--full-index', '-M', 'HEAD~2');
}

async function tried(
  patches: readonly { readonly text: string; readonly more?: Partial<LocalPatch> }[],
): Promise<PatchedTree> {
  const host: Host = {
    cwd: work,
    env: {},
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: noProgress,
    store: new Store(at('store')),
  };
  const { sha256 } = await storeTree(host, at('linux'));
  const local = patches.map(({ text, more }, nth) => {
    const content = Buffer.from(text, 'latin1');
    const digest = createHash('sha256').update(content).digest('hex');
    return {
      path: `patches/${nth}.patch`,
      sha256: digest,
      content,
      strip: 1,
      reverse: false,
      fuzz: 0,
      ...more,
    };
  });
  const found = await tryPatches(host, { path: 'gauge.yaml' }, { sha256 }, local);
  if (!found) throw new Error('the source is not at hand');
  // what they touch is kept, so that the source is not needed the next time
  rmSync(at('store', sha256));
  expect((await tryPatches(host, { path: 'gauge.yaml' }, { sha256 }, local))?.patched).toBe(found.patched);
  return found;
}

/** The part of `build.sh` that is about patches, in a copy of the tree. */
function build(kit: KitPatches): {
  readonly status: number | null;
  readonly said: string;
  readonly tree: Tree;
} {
  rmSync(at('build'), { recursive: true, force: true });
  cpSync(at('linux'), at('build/linux'), { recursive: true });
  for (const folder of ['build/kit', 'build/tmp']) mkdirSync(at(folder), { recursive: true });
  const { files, steps } = layOutPatches(kit);
  for (const { file, content } of files) write('build/kit', file, content);
  const view = { steps, left: kit.left, leftFiles: kit.left.filter(({ sha256 }) => sha256 !== undefined) };
  const script = renderTemplate(kitTemplates(), 'patches', view);
  const prelude = `set -eu; log=/build/make.log; cd /build/linux
say() { :; }
fail() { code=$1; shift; printf '%s\\n' "$@"; exit "$code"; }
`;
  const { status, stdout, stderr } = spawnSync(
    'sh',
    ['-c', (prelude + script).replaceAll('/build/', `${at('build')}/`)],
    {
      encoding: 'utf8',
    },
  );
  return { status, said: stdout + stderr, tree: readTree(at('build/linux')) };
}

it('leaves what the dry run came to, and looks at it', { timeout: 120_000 }, async () => {
  for (const [path, text] of Object.entries(before)) {
    write('linux', path, Buffer.from(text, 'latin1'), text.startsWith('#!') ? 0o755 : 0o644);
  }
  const plain =
    '--- drivers/gauge/gauge.c\n+++ drivers/gauge/gauge.c\n@@ -1,3 +1,4 @@\n int lever;\n int river;\n+int weir;\n int bank;\n';
  const back =
    '--- a/Makefile\n+++ b/Makefile\n@@ -1,3 +1,3 @@\n VERSION = 6\n-PATCHLEVEL = 2\n+PATCHLEVEL = 1\n SUBLEVEL = 0\n';
  const patched = await tried([
    { text: mailbox() },
    { text: plain, more: { strip: 0, fuzz: 1 } },
    { text: back, more: { reverse: true } },
  ]);
  const expected = {
    ...Object.fromEntries(Object.entries(before).filter(([path]) => !/old name|unused/.test(path))),
    Makefile: 'VERSION = 6\nPATCHLEVEL = 2\nSUBLEVEL = 0\n',
    'drivers/gauge/gauge.c': 'int level;\nint river;\nint weir;\nint bank;\n',
    'include/otter.h': '#define OTTER 2\n',
    'logo.bin': `\0\x02${'otter'.repeat(40)}`,
    'tools/run': 'x \0binary',
  };
  const sorted = Object.fromEntries(Object.entries(expected).sort(([a], [b]) => (a < b ? -1 : 1)));
  const built = build(patched.kit);
  expect([built.status, built.said]).toEqual([0, '']);
  expect(built.tree).toEqual(sorted);
  expect(
    readdirSync(at('build/kit/patches')).filter((name) => name.startsWith('0001')).length,
  ).toBeGreaterThan(2);
  expect(statSync(at('build/linux/tools/run')).mode & 0o777).toBe(0o755);
  const touched = new Set(patched.kit.left.map(({ path }) => path));
  expect(show(patched.tree.files())).toEqual(
    Object.fromEntries(Object.entries(sorted).filter(([path]) => touched.has(path))),
  );

  const altered = patched.kit.left.map((one) =>
    one.mode === '644' ? { ...one, sha256: '0'.repeat(64) } : one,
  );
  expect(build({ ...patched.kit, left: altered })).toMatchObject({
    status: 4,
    said: expect.stringContaining('other files here'),
  });
  const modes = patched.kit.left.map((one) => (one.mode === '644' ? { ...one, mode: '755' as const } : one));
  expect(build({ ...patched.kit, left: modes })).toMatchObject({
    status: 4,
    said: expect.stringContaining('ought to be: 755'),
  });
  const missing = [...patched.kit.left, { path: 'Kconfig', mode: 'gone' as const }];
  expect(build({ ...patched.kit, left: missing })).toMatchObject({
    status: 4,
    said: expect.stringContaining('Kconfig ought to be: gone'),
  });
});
