import { mkdtempSync, readdirSync, rmSync } from 'node:fs';
import type * as promises from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterAll, expect, it, vi } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { Store } from '../../src/host/store.ts';

// The store opens the device that is always full instead of its file: what is written there fails as on a full disk.
vi.mock('node:fs/promises', async (original) => {
  const real = await original<typeof promises>();
  return { ...real, open: () => real.open('/dev/full', 'w') };
});

const folder = mkdtempSync(join(tmpdir(), 'quern-full-'));
afterAll(() => rmSync(folder, { recursive: true }));

it('says that there is no space, and how to get some', async () => {
  const error = await new Store(folder).add([Buffer.from('level 4.20 m')]).catch((reason: unknown) => reason);
  if (!(error instanceof Failure)) throw new Error('it was to fail', { cause: error });
  expect(error.diagnostics).toMatchObject([{ code: 'host/store-full', exit: 3 }]);
  expect(error.diagnostics[0]?.help).toContain('QUERN_STORE');
  expect(readdirSync(folder)).toEqual([]);
});
