import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { readdirSync, readFileSync } from 'node:fs';
import { createHash } from 'node:crypto';
import { join } from 'node:path';

import { expect } from 'vitest';

import { packageRoot } from '../../src/host/package-root.ts';
import { namedKinds, Store } from '../../src/host/store.ts';

/**
 * Kills processes while they write into a store, some at a time, each at a moment of its own; then adds one file, as the
 * next command would, and looks at all that is there.
 *
 * @param moments milliseconds after which one is killed
 */
export async function killWriters(folder: string, moments: readonly number[]): Promise<void> {
  const queue = moments.entries();
  const work = async (): Promise<void> => {
    for (const [seed, moment] of queue) await killWriter(folder, seed, moment);
  };
  await Promise.all(Array.from({ length: 3 }, work));
  await new Store(folder).add([Buffer.from('the next one')]);

  const names = readdirSync(folder);
  expect(names.filter((name) => name.startsWith('.'))).toEqual([]);
  const inputs = names.filter((name) => !namedKinds.some((kind) => kind === name));
  expect(inputs.length).toBeGreaterThan(1);
  for (const name of inputs) {
    expect(
      createHash('sha256')
        .update(readFileSync(join(folder, name)))
        .digest('hex'),
    ).toBe(name);
  }
  for (const name of readdirSync(join(folder, 'models'))) {
    expect(readFileSync(join(folder, 'models', name)).length).toBe(1 << 16);
  }
}

async function killWriter(folder: string, seed: number, moment: number): Promise<void> {
  const writer = spawn(
    process.execPath,
    ['--import', 'tsx', join(packageRoot(), 'test/host/store-writer.ts'), folder, String(seed)],
    { cwd: packageRoot(), stdio: ['ignore', 'pipe', 'inherit'] },
  );
  await once(writer.stdout, 'data');
  await new Promise((resolve) => setTimeout(resolve, moment));
  writer.kill('SIGKILL');
  await once(writer, 'exit');
}
