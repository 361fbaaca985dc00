import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { assertBootable } from '../../src/commands/boot.ts';
import type { Host } from '../../src/host/host.ts';
import { noProgress } from '../../src/host/progress.ts';
import { Store } from '../../src/host/store.ts';
import { soundSpec } from '../spec/hostile.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-bootable-');
  writeFileSync(join(folder, 'gauge.yaml'), soundSpec);
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const hostWith = (path: string | undefined): Host => {
  return {
    cwd: folder,
    env: { PATH: path },
    now: () => new Date(),
    signal: new AbortController().signal,
    progress: noProgress,
    store: new Store(join(folder, 'store')),
  };
};

it('finds what the tests of the boot proof use', async () => {
  await expect(
    assertBootable({ spec: 'gauge.yaml', probeHost: false }, hostWith(process.env['PATH'])),
  ).resolves.toBeUndefined();
});

it('says which emulator is missing, and how to get it', async () => {
  await expect(
    assertBootable({ spec: 'gauge.yaml', probeHost: false }, hostWith(folder)),
  ).rejects.toMatchObject({
    diagnostics: [{ code: 'host/program-missing', help: expect.stringContaining('qemu-system-x86') }],
  });
});

it('says what is wrong in the spec before that', async () => {
  writeFileSync(join(folder, 'gauge.yaml'), 'quern: 2\n');
  await expect(
    assertBootable({ spec: 'gauge.yaml', probeHost: false }, hostWith(folder)),
  ).rejects.toMatchObject({
    diagnostics: expect.arrayContaining([expect.objectContaining({ exit: 2 })]),
  });
});
