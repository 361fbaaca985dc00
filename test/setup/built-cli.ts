import { existsSync, readdirSync, statSync } from 'node:fs';
import { join } from 'node:path';

import { packageRoot } from '../../src/host/package-root.ts';

/** The built command line, which `npm test` makes before it begins; one that is older than the source is refused. */
export function builtCli(): string {
  const cli = join(packageRoot(), 'dist', 'cli.js');
  if (!existsSync(cli)) throw new Error('nothing is built: run `npm run build` first');
  const source = join(packageRoot(), 'src');
  const builtAt = statSync(cli).mtimeMs;
  const newer = readdirSync(source, { recursive: true, encoding: 'utf8' }).filter((path) => {
    const about = statSync(join(source, path));
    return about.isFile() && about.mtimeMs > builtAt;
  });
  if (newer.length > 0) throw new Error(`built before ${newer[0]} was changed: run \`npm run build\` again`);
  return cli;
}
