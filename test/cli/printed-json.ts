import { readFileSync } from 'node:fs';
import { join } from 'node:path';

import { Ajv2020, type ValidateFunction } from 'ajv/dist/2020.js';

import type { OptionsOf } from '../../src/commands/options.ts';
import { packageRoot } from '../../src/host/package-root.ts';

/** Where the schema of what a command prints is committed, and shipped from. */
export function schemaFile(command: string): string {
  return join(packageRoot(), 'src/cli/schemas', `${command}.schema.json`);
}

const ajv = new Ajv2020({ strict: true });
const validators = new Map<string, ValidateFunction>();

/**
 * What is wrong with what a command printed, by its committed schema. Ajv is the referee: a JSON Schema validator that
 * knows nothing of how the schema came about.
 */
export function faultsIn(command: keyof OptionsOf, printed: string): readonly object[] {
  const validate =
    validators.get(command) ?? ajv.compile(JSON.parse(readFileSync(schemaFile(command), 'utf8')) as object);
  validators.set(command, validate);
  return validate(JSON.parse(printed)) ? [] : (validate.errors ?? []);
}
