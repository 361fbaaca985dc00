import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

import { expect, it } from 'vitest';

import { packageRoot, packageVersion, templatesFolder } from '../../src/host/package-root.ts';

it('is the folder of package.json, with the templates in it', () => {
  const about: unknown = JSON.parse(readFileSync(join(packageRoot(), 'package.json'), 'utf8'));
  expect(about).toMatchObject({ name: 'quern', version: packageVersion() });
  expect(existsSync(templatesFolder())).toBe(true);
});
