import { execFile } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { promisify } from 'node:util';

import { expect, it } from 'vitest';

import { packageRoot } from '../../src/host/package-root.ts';
import { serveFiles } from './file-server.ts';

it('fifty processes that share a store fetch a file once', async () => {
  const folder = mkdtempSync('/tmp/quern-shared-');
  const server = await serveFiles();
  // large enough that the others come while the first one is at it
  const body = Buffer.alloc(64 << 20, 'level 4.20 m at the otter bank\n');
  const sha256 = createHash('sha256').update(body).digest('hex');
  server.on('/gauge.deb', { body });
  try {
    const words = ['--import', 'tsx', join(packageRoot(), 'test/host/store-fetcher.ts')];
    words.push(folder, `${server.url}/gauge.deb`, sha256, String(body.length));
    const run = promisify(execFile);
    const ran = await Promise.all(
      Array.from({ length: 50 }, () => run(process.execPath, words, { cwd: packageRoot() })),
    );
    expect(new Set(ran.map(({ stdout }) => stdout.trim()))).toEqual(new Set([join(folder, sha256)]));
    expect(server.requests).toEqual(['/gauge.deb']);
    expect(readdirSync(folder)).toEqual([sha256]);
    expect(readFileSync(join(folder, sha256)).equals(body)).toBe(true);
  } finally {
    await server.close();
    rmSync(folder, { recursive: true });
  }
});
