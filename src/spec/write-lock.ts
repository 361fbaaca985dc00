import { lockSchema } from './lock-schema.ts';
import type { Lock } from './lock.ts';

/** Records whose keys are data: they come sorted, and each entry gets a line of its own. */
const tables = new Set(['origins', 'toolchain', 'variables', 'probes']);

function isFlat(value: object): boolean {
  return Object.values(value).every((one) => typeof one !== 'object' || one === null);
}

function entriesOf(value: object, isTable: boolean): [string, unknown][] {
  const entries: [string, unknown][] = Object.entries(value);
  // By code units: the order must not depend on a locale.
  return isTable ? entries.sort(([one], [other]) => (one < other ? -1 : 1)) : entries;
}

/** Lists and tables have one item per line, whatever else holds no further objects stands on one line. */
function format(value: unknown, key: string, indent: string): string {
  if (typeof value !== 'object' || value === null) return JSON.stringify(value);
  const deeper = `${indent}  `;
  const isTable = tables.has(key);
  if (Array.isArray(value)) {
    const items = value.map((item: unknown) => `${deeper}${format(item, '', deeper)}`);
    return items.length === 0 ? '[]' : `[\n${items.join(',\n')}\n${indent}]`;
  }
  const entries = entriesOf(value, isTable);
  const members = entries.map(([name, one]) => `${JSON.stringify(name)}: ${format(one, name, deeper)}`);
  if (members.length === 0) return '{}';
  if (isFlat(value) && !isTable) return `{ ${members.join(', ')} }`;
  return `{\n${members.map((member) => deeper + member).join(',\n')}\n${indent}}`;
}

/**
 * A lock as the text of its file: keys in one order, one pin per line, a line break at the end.
 *
 * @throws Error when the lock could not be read again; that is a bug in what made it
 */
export function formatLock(lock: Lock): string {
  const { success, data, error } = lockSchema.safeParse(lock);
  if (!success) {
    const where = error.issues.map(({ path, message }) => `${path.join('.')}: ${message}`);
    throw new Error(`a lock was made that cannot be read again: ${where.join('; ')}`);
  }
  return `${format(data, '', '')}\n`;
}
