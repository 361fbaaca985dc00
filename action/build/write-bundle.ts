/** `npm run build:action`: makes `action/dist/` anew. */
import { mkdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';

import { packageRoot } from '../../src/host/package-root.ts';
import { buildBundle } from './build-bundle.ts';

const folder = join(packageRoot(), 'action', 'dist');
const files = await buildBundle();
await rm(folder, { recursive: true, force: true });
await mkdir(folder, { recursive: true });
for (const [name, content] of files) {
  await writeFile(join(folder, name), content);
  process.stdout.write(`action/dist/${name}: ${content.length} bytes\n`);
}
