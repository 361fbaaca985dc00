import { spawnSync } from 'node:child_process';
import { copyFileSync, mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';

import { packageRoot } from '../../src/host/package-root.ts';

export interface Finding {
  /** `eslint(no-restricted-imports)`. */
  readonly rule: string;
  /** What is wrong, and what the rule says about it: the reason of a wall is in there. */
  readonly text: string;
}

interface LintOutput {
  readonly diagnostics: readonly {
    readonly code?: string;
    readonly message: string;
    readonly help?: string;
    readonly filename: string;
  }[];
}

/**
 * Lints files that are not there with the very configuration of the project: it is copied into an empty folder, the
 * files are laid beside it where they would be, and the real linter looks at all of them at once.
 *
 * @param files path from the top of the project to text
 * @returns path to what was found in it; every path is there
 */
export function lintInCopy(files: ReadonlyMap<string, string>): Map<string, Finding[]> {
  const folder = mkdtempSync(join(tmpdir(), 'quern-lint-'));
  try {
    for (const name of ['.oxlintrc.json', 'tsconfig.json', 'package.json']) {
      copyFileSync(join(packageRoot(), name), join(folder, name));
    }
    symlinkSync(join(packageRoot(), 'node_modules'), join(folder, 'node_modules'));
    for (const [path, text] of files) {
      mkdirSync(dirname(join(folder, path)), { recursive: true });
      writeFileSync(join(folder, path), text);
    }
    return findingsIn(runLinter(folder), files.keys());
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function runLinter(folder: string): LintOutput {
  const oxlint = join(packageRoot(), 'node_modules/.bin/oxlint');
  const { stdout, stderr } = spawnSync(oxlint, ['--format', 'json', 'src', 'action', 'test'], {
    cwd: folder,
    encoding: 'utf8',
    maxBuffer: 64 * 1024 * 1024,
  });
  if (!stdout.startsWith('{')) throw new Error(`the linter did not run: ${stdout}${stderr}`);
  return JSON.parse(stdout);
}

function findingsIn({ diagnostics }: LintOutput, paths: Iterable<string>): Map<string, Finding[]> {
  const findings = new Map<string, Finding[]>(Array.from(paths, (path) => [path, []]));
  for (const { code = '', message, help = '', filename } of diagnostics) {
    findings.get(filename)?.push({ rule: code, text: `${message} ${help}` });
  }
  return findings;
}
