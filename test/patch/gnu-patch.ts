import { spawnSync } from 'node:child_process';
import {
  chmodSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join, relative } from 'node:path';

import type { PatchedFiles } from '../../src/patch/apply-patch.ts';

export type Tree = Readonly<Record<string, string>>;

export function toFiles(tree: Tree): PatchedFiles {
  return new Map(
    Object.entries(tree).map(([path, text]) => [path, { text, executable: text.startsWith('#!') }]),
  );
}

/** Path to text, with `x ` before that of a file which may be executed. */
export function show(files: PatchedFiles): Tree {
  return Object.fromEntries(
    [...files]
      .sort(([a], [b]) => (a < b ? -1 : 1))
      .map(([path, { text, executable }]) => [path, (executable ? 'x ' : '') + text]),
  );
}

export function layTree(folder: string, tree: Tree): void {
  for (const [path, text] of Object.entries(tree)) {
    const full = join(folder, path);
    mkdirSync(dirname(full), { recursive: true });
    writeFileSync(full, text, 'latin1');
    if (text.startsWith('#!')) chmodSync(full, 0o755);
  }
}

function readTree(folder: string): Tree {
  const tree: Record<string, string> = {};
  for (const entry of readdirSync(folder, { recursive: true, withFileTypes: true })) {
    if (!entry.isFile()) continue;
    const full = join(entry.parentPath, entry.name);
    const mark = (statSync(full).mode & 0o100) === 0 ? '' : 'x ';
    tree[relative(folder, full)] = mark + readFileSync(full, 'latin1');
  }
  return Object.fromEntries(Object.entries(tree).sort(([a], [b]) => (a < b ? -1 : 1)));
}

/** What the kit's own call of GNU patch makes of a tree (templates/kit/patches.hbs); `undefined` when it refuses. */
export function gnuPatch(tree: Tree, patch: string): Tree | undefined {
  const work = mkdtempSync(join(tmpdir(), 'quern-patch-'));
  try {
    mkdirSync(join(work, 'tree'));
    layTree(join(work, 'tree'), tree);
    const { status, error } = spawnSync(
      'patch',
      ['-p1', '-F0', '--batch', '--forward', '--no-backup-if-mismatch', '-r', '-'],
      { cwd: join(work, 'tree'), input: Buffer.from(patch, 'latin1') },
    );
    if (error) throw error;
    return status === 0 ? readTree(join(work, 'tree')) : undefined;
  } finally {
    rmSync(work, { recursive: true, force: true });
  }
}

/** `git diff` between two trees, with renames and copies where `options` ask for them. */
export function gitDiff(before: Tree, after: Tree, ...options: readonly string[]): string {
  const work = mkdtempSync(join(tmpdir(), 'quern-diff-'));
  const git = (...args: readonly string[]): string => {
    const environment = { PATH: process.env['PATH'], HOME: work, GIT_CONFIG_NOSYSTEM: '1' };
    const found = spawnSync('git', args, { cwd: work, env: environment, encoding: 'latin1' });
    if (found.status !== 0) throw new Error(found.stderr);
    return found.stdout;
  };
  try {
    git('init', '-q');
    const trees = [before, after].map((tree) => {
      for (const path of Object.keys(before)) rmSync(join(work, path), { force: true });
      layTree(work, tree);
      git('add', '-A');
      return git('write-tree').trim();
    });
    return git('diff', ...options, ...trees);
  } finally {
    rmSync(work, { recursive: true, force: true });
  }
}

/** `diff -u` between two texts, as of `a/PATH` and `b/PATH`. */
export function plainDiff(path: string, before: string, after: string, context = 3): string {
  const work = mkdtempSync(join(tmpdir(), 'quern-diff-'));
  try {
    writeFileSync(join(work, 'old'), before, 'latin1');
    writeFileSync(join(work, 'new'), after, 'latin1');
    const labels = ['--label', `a/${path}`, '--label', `b/${path}`];
    return spawnSync('diff', [`-U${context}`, ...labels, 'old', 'new'], { cwd: work, encoding: 'latin1' })
      .stdout;
  } finally {
    rmSync(work, { recursive: true, force: true });
  }
}
