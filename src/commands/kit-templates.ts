import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';

import { templatesFolder } from '../host/package-root.ts';
import type { Templates } from '../kit/templates.ts';

/** The templates of the kit: `run.sh.hbs` under `run.sh`. */
export async function readKitTemplates(): Promise<Templates> {
  const folder = join(templatesFolder(), 'kit');
  const names = (await readdir(folder)).filter((name) => name.endsWith('.hbs')).sort();
  return new Map(
    await Promise.all(
      names.map(
        async (name) => [name.slice(0, -'.hbs'.length), await readFile(join(folder, name), 'utf8')] as const,
      ),
    ),
  );
}
