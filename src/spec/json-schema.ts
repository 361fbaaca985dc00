import * as z from 'zod';
import { specSchema } from './schema.ts';

/** Where the schema will be published; until then only a name. */
const schemaId = 'https://quern.example/spec.schema.json';

/** The JSON Schema (draft 2020-12) of a spec as it is written, for editors and other programs. */
export function specJsonSchema(): Record<string, unknown> {
  const { $schema, ...rest } = z.toJSONSchema(specSchema, { io: 'input', target: 'draft-2020-12' });
  return { $schema, $id: schemaId, ...rest };
}
