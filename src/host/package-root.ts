import { existsSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';

/** The folder that holds `package.json` and `templates/`: the nearest above, wherever a bundle has put this function. */
export function packageRoot(): string {
  for (let folder = import.meta.dirname; ; folder = dirname(folder)) {
    if (existsSync(join(folder, 'package.json'))) return folder;
    if (folder === dirname(folder)) throw new Error(`no package.json above ${import.meta.dirname}`);
  }
}

/** The folder of the templates that kits and reports are made from. */
export function templatesFolder(): string {
  return join(packageRoot(), 'templates');
}

/** Quern's own version, as `package.json` says it. */
export function packageVersion(): string {
  const about: unknown = JSON.parse(readFileSync(join(packageRoot(), 'package.json'), 'utf8'));
  if (
    typeof about === 'object' &&
    about !== null &&
    'version' in about &&
    typeof about.version === 'string'
  ) {
    return about.version;
  }
  throw new Error(`${packageRoot()}/package.json has no version`);
}
