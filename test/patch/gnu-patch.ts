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

import type { PatchedFiles } from '../../src/patch/working-tree.ts';

export type Tree = Readonly<Record<string, string>>;

/** How much of a patch is taken as it is: as the options of GNU patch. */
export interface PatchOptions {
  readonly strip?: number;
  readonly reverse?: boolean;
  readonly fuzz?: number;
}

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

export function readTree(folder: string): Tree {
  const tree: Record<string, string> = {};
  for (const entry of readdirSync(folder, { recursive: true, withFileTypes: true })) {
    if (!entry.isFile()) continue;
    const full = join(entry.parentPath, entry.name);
    const mark = (statSync(full).mode & 0o100) === 0 ? '' : 'x ';
    tree[relative(folder, full)] = mark + readFileSync(full, 'latin1');
  }
  return Object.fromEntries(Object.entries(tree).sort(([a], [b]) => (a < b ? -1 : 1)));
}

export interface PatchCase {
  readonly tree: Tree;
  readonly patch: string;
  readonly options?: PatchOptions;
}

/** What the kit's own call of GNU patch makes of a tree (templates/kit/patches.hbs); `undefined` when it refuses. */
export function gnuPatch(tree: Tree, patch: string, options: PatchOptions = {}): Tree | undefined {
  return gnuPatchAll([{ tree, patch, options }])[0];
}

/** The same for many: one shell calls GNU patch for all of them, which is ten times as fast. */
export function gnuPatchAll(cases: readonly PatchCase[]): readonly (Tree | undefined)[] {
  return inFolders(
    cases,
    'read -r options <../options; patch $options --batch --forward --no-backup-if-mismatch -r - <../patch >../log 2>&1',
    (folder, { tree, patch, options: { strip = 1, reverse = false, fuzz = 0 } = {} }) => {
      layTree(join(folder, 'tree'), tree);
      writeFileSync(join(folder, 'patch'), patch, 'latin1');
      writeFileSync(join(folder, 'options'), `-p${strip} -F${fuzz}${reverse ? ' -R' : ''}\n`);
    },
    (folder, status) => (status === 0 ? readTree(join(folder, 'tree')) : undefined),
  );
}

/** One folder with a `tree` for each case, in which a shell runs the command. */
function inFolders<Case, Result>(
  cases: readonly Case[],
  command: string,
  lay: (folder: string, one: Case) => void,
  read: (folder: string, status: number) => Result,
): readonly Result[] {
  const work = mkdtempSync(join(tmpdir(), 'quern-patch-'));
  try {
    for (const [nth, one] of cases.entries()) {
      mkdirSync(join(work, String(nth), 'tree'), { recursive: true });
      lay(join(work, String(nth)), one);
    }
    const script = `for folder in "$0"/*/tree; do cd "$folder" && { ${command}; echo $? >../status; }; done`;
    const { status, error, stderr } = spawnSync('sh', ['-c', script, work], { encoding: 'utf8' });
    if (error ?? status !== 0) throw error ?? new Error(stderr);
    return cases.map((_, nth) => {
      const folder = join(work, String(nth));
      return read(folder, Number(readFileSync(join(folder, 'status'), 'utf8')));
    });
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

export interface DiffCase {
  readonly path: string;
  readonly before: string;
  readonly after: string;
  readonly context?: number;
}

/** `diff -u` between two texts, as of `a/PATH` and `b/PATH`. */
export function plainDiff(path: string, before: string, after: string, context = 3): string {
  return plainDiffs([{ path, before, after, context }])[0] ?? '';
}

export function plainDiffs(cases: readonly DiffCase[]): readonly string[] {
  return inFolders(
    cases,
    'read -r context <../context; read -r path <../path; diff -U"$context" --label "a/$path" --label "b/$path" ../old ../new >../diff',
    (folder, { path, before, after, context = 3 }) => {
      for (const [name, text] of Object.entries({
        path: `${path}\n`,
        old: before,
        new: after,
        context: `${context}\n`,
      })) {
        writeFileSync(join(folder, name), text, 'latin1');
      }
    },
    (folder) => readFileSync(join(folder, 'diff'), 'latin1'),
  );
}

/** What programs that other people wrote say to a patch, without applying it. */
export interface Verdicts {
  /** `patch` as the kit calls it: with no fuzz. */
  readonly strict: boolean;
  /** `patch` as most people call it: with a fuzz of two lines. */
  readonly usual: boolean;
  /** `git apply --check`. */
  readonly git: boolean;
}

export function verdictsOf(cases: readonly PatchCase[]): readonly Verdicts[] {
  const dryRun = 'patch --dry-run -p1 --batch --forward -r - <../patch';
  const command = [
    `${dryRun} -F0 >../strict.log 2>&1; echo $? >../strict`,
    `${dryRun} >../usual.log 2>&1; echo $? >../usual`,
    'GIT_CEILING_DIRECTORIES=/ GIT_CONFIG_NOSYSTEM=1 HOME=/nonexistent git apply --check ../patch >../git.log 2>&1; echo $? >../git',
  ].join('; ');
  return inFolders(
    cases,
    command,
    (folder, { tree, patch }) => {
      layTree(join(folder, 'tree'), tree);
      writeFileSync(join(folder, 'patch'), patch, 'latin1');
    },
    (folder) => {
      const isFine = (name: string): boolean => readFileSync(join(folder, name), 'utf8') === '0\n';
      return { strict: isFine('strict'), usual: isFine('usual'), git: isFine('git') };
    },
  );
}
