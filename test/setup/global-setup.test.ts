import { execFileSync } from 'node:child_process';

import { expect, it } from 'vitest';

import { needEngine } from './engine.ts';

it('an engine answers in a test that says it needs one', () => {
  needEngine();
  expect(execFileSync('docker', ['version', '--format', '{{.Server.Os}}'], { encoding: 'utf8' })).toBe(
    'linux\n',
  );
});
