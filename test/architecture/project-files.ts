import { readdirSync } from 'node:fs';
import { join } from 'node:path';

import { packageRoot } from '../../src/host/package-root.ts';

/** What is made and not kept, as .gitignore has it. */
const made = new Set(['.git', 'node_modules', 'dist', 'dist.new', 'coverage', 'out']);

/** What stands at the top of the project. */
export function topLevelNames(): string[] {
  return readdirSync(packageRoot()).filter((name) => !made.has(name));
}

/** Paths of all files below these folders, from the top of the project. */
export function filesIn(...folders: readonly string[]): string[] {
  const there = topLevelNames();
  return folders
    .filter((folder) => there.includes(folder))
    .flatMap((folder) =>
      readdirSync(join(packageRoot(), folder), { recursive: true, withFileTypes: true })
        .filter((entry) => entry.isFile())
        .map(({ parentPath, name }) => join(parentPath, name).slice(packageRoot().length + 1)),
    )
    .filter((path) => !path.startsWith('action/dist/'));
}
