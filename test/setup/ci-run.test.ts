import { spawnSync } from 'node:child_process';
import { copyFileSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterAll, expect, it } from 'vitest';

import { packageRoot } from '../../src/host/package-root.ts';

const root = mkdtempSync(join(tmpdir(), 'quern-ci-'));
afterAll(() => rmSync(root, { recursive: true, force: true }));

/** Runs `.ci/run` with a stand-in for npm, which notes how it is called and then does what `script` says. */
function runCi(name: string, installed: boolean, script: string): { lines: string[]; status: number | null } {
  const folder = join(root, name);
  mkdirSync(join(folder, '.ci'), { recursive: true });
  mkdirSync(join(folder, 'bin'));
  if (installed) mkdirSync(join(folder, 'node_modules'));
  copyFileSync(join(packageRoot(), '.ci/run'), join(folder, '.ci/run'));
  writeFileSync(join(folder, 'bin/npm'), `#!/bin/sh\necho "npm $*"\n${script}\n`, { mode: 0o755 });
  const { stdout, status } = spawnSync('sh', [join(folder, '.ci/run')], {
    encoding: 'utf8',
    env: { PATH: `${join(folder, 'bin')}:${process.env['PATH'] ?? ''}` },
  });
  return { lines: stdout.trimEnd().split('\n'), status };
}

const counted = (line: string): string => `[ "$1" != test ] || echo '${line}' >"$QUERN_TEST_COUNT_FILE"`;

it.each<[string, boolean, string, string[], number]>([
  ['installs first', false, counted('5 passed, 0 failed'), ['npm ci', 'npm test', '5 passed, 0 failed'], 0],
  ['does not install twice', true, counted('5 passed, 0 failed'), ['npm test', '5 passed, 0 failed'], 0],
  [
    'repeats the count after all that npm says',
    true,
    `${counted('4 passed, 1 failed')}; echo 'npm error'; exit 1`,
    ['npm test', 'npm error', '4 passed, 1 failed'],
    1,
  ],
  ['installing fails', false, 'exit 7', ['npm ci', '0 passed, 1 failed'], 7],
  ['the tests never begin', true, 'exit 3', ['npm test', '0 passed, 1 failed'], 3],
  ['nothing was counted, which cannot be well', true, 'exit 0', ['npm test', '0 passed, 1 failed'], 1],
])('%s', (name, installed, script, lines, status) => {
  expect(runCi(name.replaceAll(' ', '-'), installed, script)).toEqual({ lines, status });
});
