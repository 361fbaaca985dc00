import * as z from 'zod';
import type { YamlPath } from './yaml-tree.ts';

type Outline = z.core.JSONSchema.BaseSchema;

/** What a schema says about one place: its keys, in order, and the description an editor would show. */
export interface Place {
  readonly keys: readonly string[];
  readonly description: string | undefined;
}

function step(schema: Outline | boolean | undefined, key: string | number): Outline | undefined {
  if (typeof schema !== 'object') return undefined;
  const child =
    typeof key === 'number'
      ? schema.items
      : forms(schema).find((form) => form.properties?.[key] !== undefined)?.properties?.[key];
  return typeof child === 'object' && !Array.isArray(child) ? child : undefined;
}

/** What a value may look like where it may look like several things. */
function forms(schema: Outline | undefined): readonly Outline[] {
  if (!schema) return [];
  return schema.anyOf?.filter((form) => typeof form === 'object') ?? [schema];
}

/** Looks up places of `schema`: for messages, which name the keys there are and say what a missing one is for. */
export function outlineOf(schema: z.ZodType): (path: YamlPath) => Place {
  // Made when first asked for: it takes longer than reading a spec with which nothing is wrong.
  let root: Outline | undefined;
  return (path) => {
    root ??= z.toJSONSchema(schema, { io: 'input', target: 'draft-2020-12' });
    const place = path.reduce<Outline | undefined>(step, root);
    const keys = forms(place).flatMap((form) => Object.keys(form.properties ?? {}));
    return { keys: [...new Set(keys)], description: place?.description };
  };
}
