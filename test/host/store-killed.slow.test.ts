import { mkdtempSync, rmSync } from 'node:fs';

import { expect, it } from 'vitest';

import { killWriters } from './store-killed.ts';

it('a hundred processes, killed at any moment, leave nothing behind and nothing half', async () => {
  const folder = mkdtempSync('/tmp/quern-killed-');
  try {
    await killWriters(
      folder,
      Array.from({ length: 100 }, () => Math.random() * 200),
    );
  } finally {
    rmSync(folder, { recursive: true });
  }
  expect.hasAssertions();
});
