/** A tree of a few files of a test's own. */
import { dialects, type Dialect } from '../../src/kconfig/dialect.ts';
import type { Model } from '../../src/kconfig/model.ts';
import { parseTree, type ParsedTree } from '../../src/kconfig/parse-tree.ts';
import { indexLines, positionAt } from '../../src/diagnostics/line-column.ts';

export type Release = Dialect['name'];
export const releases: readonly Release[] = ['5.10', '6.1', '6.12', '7.3'];

export interface SmallTree {
  readonly release?: Release;
  readonly answers?: Readonly<Record<string, string>>;
  readonly environment?: Readonly<Record<string, string>>;
}

/** @param kconfig the text of `Kconfig`, or those of several files */
export function parseSmall(
  kconfig: string | Readonly<Record<string, string>>,
  { release = '7.3', answers = {}, environment = {} }: SmallTree = {},
): ParsedTree {
  const files = new Map(Object.entries(typeof kconfig === 'string' ? { Kconfig: kconfig } : kconfig));
  const known = new Map(Object.entries(answers));
  return parseTree({
    files: { read: (path) => files.get(path) },
    probes: { answer: (command) => known.get(command) },
    environment,
    dialect: dialects[release],
  });
}

/** @throws Error with all messages when there is no model */
export function modelOf(kconfig: string | Readonly<Record<string, string>>, tree: SmallTree = {}): Model {
  const { model, diagnostics } = parseSmall(kconfig, tree);
  if (!model) throw new Error(diagnostics.map(({ message }) => message).join('\n'));
  return model;
}

/** Each diagnostic as `severity file:line message`. */
export function complaints({ diagnostics, sources }: ParsedTree): readonly string[] {
  return diagnostics.map(({ severity, message, span }) => {
    const text = span && sources.get(span.file);
    const line = span && text !== undefined ? `:${positionAt(indexLines(text), span.start).line}` : '';
    return `${severity} ${span?.file ?? '-'}${line} ${message}`;
  });
}
