import { readFileSync } from 'node:fs';
import { join } from 'node:path';

/**
 * The folder that holds `package.json` and `templates/`: two up from here, in `src/host/`, in `dist/host/`, and in
 * `action/dist/`, where the bundle has put this function.
 */
export function packageRoot(): string {
  return join(import.meta.dirname, '..', '..');
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
