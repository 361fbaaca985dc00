import { spawnSync } from 'node:child_process';
import { join } from 'node:path';

import { expect, it } from 'vitest';

import { packageRoot } from '../../src/host/package-root.ts';
import { filesIn } from './project-files.ts';

const scripts = filesIn('.ci', 'test', 'templates').filter(
  (path) => path.endsWith('.sh') || path === '.ci/run',
);

/** The same that `npm run check` does by hand, so that CI needs `npm test` alone. */
it.each<[string, string, readonly string[]]>([
  ['types', 'node_modules/.bin/tsc', ['-p', 'tsconfig.json']],
  ['lint', 'node_modules/.bin/oxlint', ['--format', 'unix']],
  ['format', 'node_modules/.bin/prettier', ['--check', '.']],
  ['nothing unused', 'node_modules/.bin/knip', ['--no-progress']],
  ['shell scripts', 'shellcheck', scripts],
])('%s', { timeout: 120_000 }, (_, program, args) => {
  const path = program.includes('/') ? join(packageRoot(), program) : program;
  const { status, stdout, stderr, error } = spawnSync(path, args, { cwd: packageRoot(), encoding: 'utf8' });
  if (error) throw error;
  expect(status === 0 ? '' : stdout + stderr).toBe('');
});
