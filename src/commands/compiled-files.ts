import { mkdir, readFile, writeFile } from 'node:fs/promises';
import { dirname, join } from 'node:path';

import type { Host } from '../host/host.ts';

/**
 * How many files a build with a configuration compiled, kept beside the store so that the next one can show how much is
 * still to do. It is worth no more than that: when it cannot be kept or read, there is no bar.
 *
 * @param config SHA-256 of the resolved configuration
 */
export async function readCompiledFiles(host: Host, config: string): Promise<number | undefined> {
  const text = await readFile(placeOf(host, config), 'utf8').catch(() => '');
  return /^\d{1,7}\n$/u.test(text) ? Number(text) : undefined;
}

export async function keepCompiledFiles(host: Host, config: string, files: number): Promise<void> {
  const place = placeOf(host, config);
  await mkdir(dirname(place), { recursive: true })
    .then(() => writeFile(place, `${files}\n`))
    .catch(() => undefined);
}

function placeOf(host: Host, config: string): string {
  return join(host.store.folder, 'compiled', config);
}
