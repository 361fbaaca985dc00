import { execFileSync } from 'node:child_process';
import { join } from 'node:path';

import { expect, it } from 'vitest';

import { packageRoot } from '../../src/host/package-root.ts';

/**
 * The package that brings Node 24 puts a `node` beside the other programs of node_modules, which npm lets win in every
 * script: all tests would then run on Node 24, whatever is installed. `npm run prepare` takes it away.
 */
it('a script of this package runs on the Node that npm itself runs on', () => {
  const shown = execFileSync('npm', ['exec', '--offline', '-c', 'node --version'], {
    cwd: packageRoot(),
    encoding: 'utf8',
  });
  const version = execFileSync('node', ['--version'], {
    encoding: 'utf8',
    env: { ...process.env, PATH: pathWithoutPackages() },
  });
  expect(shown).toBe(version);
});

function pathWithoutPackages(): string {
  const bin = join('node_modules', '.bin');
  return (process.env['PATH'] ?? '')
    .split(':')
    .filter((folder) => !folder.endsWith(bin))
    .join(':');
}
