import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterAll, describe, expect, it } from 'vitest';

import { packageRoot } from '../../src/host/package-root.ts';
import { formatCount } from './count-reporter.ts';

const root = mkdtempSync(join(tmpdir(), 'quern-count-'));
afterAll(() => rmSync(root, { recursive: true, force: true }));

let projects = 0;

/** Runs vitest itself on these files, with the reporter; what it prints, and how it ends. */
function runVitest(files: Readonly<Record<string, string>>): { last: string; status: number | null } {
  projects += 1;
  const folder = join(root, String(projects));
  mkdirSync(folder);
  symlinkSync(join(packageRoot(), 'node_modules'), join(folder, 'node_modules'));
  writeFileSync(
    join(folder, 'vitest.config.mjs'),
    `import { countReporter } from ${JSON.stringify(join(packageRoot(), 'test/setup/count-reporter.ts'))};
    export default { test: { globals: true, include: ['*.js'], globalSetup: ['setup.mjs'],
      reporters: ['default', countReporter()] } };`,
  );
  writeFileSync(join(folder, 'setup.mjs'), 'export const setup = () => undefined;');
  for (const [name, text] of Object.entries(files)) writeFileSync(join(folder, name), text);
  const vitest = join(packageRoot(), 'node_modules/vitest/vitest.mjs');
  const { stdout, status } = spawnSync(process.execPath, [vitest, 'run'], {
    cwd: folder,
    encoding: 'utf8',
    env: { PATH: process.env['PATH'] },
  });
  return { last: stdout.trimEnd().split('\n').at(-1) ?? '', status };
}

describe('the last line of a test run', { timeout: 120_000 }, () => {
  it('counts tests that pass, fail and are skipped, and files that do not load', () => {
    const files = {
      'a.js': `test('a', () => {}); test('b', () => {}); test('c', () => expect(1).toBe(2)); test.skip('d', () => {});`,
      'b.js': `import './absent.js';`,
      'c.js': `beforeAll(() => { throw new Error('hook'); }); test('e', () => {});`,
    };
    expect(runVitest(files)).toEqual({ last: '2 passed, 3 failed, 2 skipped', status: 1 });
  });

  it('says that all is well', () => {
    expect(runVitest({ 'a.js': `test('a', () => {});` })).toEqual({ last: '1 passed, 0 failed', status: 0 });
  });

  it('counts an error that belongs to no test', () => {
    const stray = `test('a', async () => { setTimeout(() => { throw new Error('stray'); }); await new Promise((r) => setTimeout(r, 50)); });`;
    expect(runVitest({ 'a.js': stray })).toEqual({ last: '1 passed, 1 failed', status: 1 });
  });

  it.each([
    ['nothing is there to be run', { 'none.txt': '' }],
    ['the set-up fails', { 'a.js': `test('a', () => {});`, 'setup.mjs': `throw new Error('set-up');` }],
    ['the run is broken off', { 'a.js': `test('a', () => {});`, 'setup.mjs': 'process.exit(3);' }],
  ])('is a failure when %s', (_, files) => {
    const { last, status } = runVitest(files);
    expect(last).toBe('0 passed, 1 failed');
    expect(status).not.toBe(0);
  });
});

it.each([
  [{ passed: 3, failed: 0, skipped: 0 }, 0, '3 passed, 0 failed'],
  [{ passed: 3, failed: 2, skipped: 1 }, 1, '3 passed, 2 failed, 1 skipped'],
  [{ passed: 3, failed: 0, skipped: 0 }, 1, '3 passed, 1 failed'],
])('%j and exit code %i', (count, code, line) => {
  expect(formatCount(count, code)).toBe(line);
});
