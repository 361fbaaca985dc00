import { join } from 'node:path';

import {
  createFormatter,
  createParser,
  createProgram,
  DEFAULT_CONFIG,
  SchemaGenerator,
} from 'ts-json-schema-generator';

import { commandTable } from '../../src/cli/command-table.ts';
import { packageRoot } from '../../src/host/package-root.ts';

/** Where the schemas will be published; until then only a name. */
const schemaHome = 'https://quern.example';

/** The JSON Schemas (draft 2020-12) of what the commands print with `--json`, made of the types in command-json.ts. */
export function commandSchemas(): ReadonlyMap<string, object> {
  const config = {
    ...DEFAULT_CONFIG,
    path: join(packageRoot(), 'src/cli/command-json.ts'),
    tsconfig: join(packageRoot(), 'tsconfig.json'),
    topRef: false,
    // the project's own compiler does that, by newer rules
    skipTypeCheck: true,
  };
  const program = createProgram(config);
  const generator = new SchemaGenerator(
    program,
    createParser(program, config),
    createFormatter(config),
    config,
  );
  return new Map(
    Object.keys(commandTable).map((name) => {
      const type = `${name.slice(0, 1).toUpperCase()}${name.slice(1)}Json`;
      return [name, inNewerDraft(`${schemaHome}/${name}.schema.json`, generator.createSchema(type))];
    }),
  );
}

/** The generator writes draft-07, which passes over what stands beside a `$ref`: here the descriptions of members. */
function inNewerDraft($id: string, schema: object): object {
  const text = JSON.stringify(schema).replaceAll('"$ref":"#/definitions/', '"$ref":"#/$defs/');
  const { $schema: _, definitions, ...rest } = JSON.parse(text) as Record<string, unknown>;
  return { $schema: 'https://json-schema.org/draft/2020-12/schema', $id, ...rest, $defs: definitions };
}
