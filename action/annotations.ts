import { error, notice, warning, type AnnotationProperties } from '@actions/core';
import { isAbsolute, relative, resolve } from 'node:path';

import type { Diagnostic, Severity } from '../src/diagnostics/diagnostic.ts';
import { printable } from '../src/diagnostics/printable.ts';
import { toJson, type DiagnosticJson } from '../src/diagnostics/to-json.ts';

export interface Annotation {
  readonly severity: Severity;
  readonly message: string;
  readonly properties: AnnotationProperties;
}

/**
 * More than ten of one kind in one step are dropped without a word (actions/toolkit, `docs/problem-matchers.md`). Of
 * warnings and notices some are left to what may be said of the artifact later.
 */
const mostOf: Readonly<Record<Severity, number>> = { error: 10, warning: 8, note: 9 };
/** What GitHub keeps of one is 64 KB; who reads it beside a line of code wants far less. UTF-16 code units. */
const longestMessage = 4000;

const issue = { error, warning, note: notice } as const;

/**
 * Diagnostics as annotations, on their lines where they have one: the first of each kind, as many as GitHub shows.
 *
 * @param sources the text of each file that a span may name
 * @param workspace the repository's folder: relative paths start there, and GitHub shows annotations of files in it
 */
export function buildAnnotations(
  diagnostics: readonly Diagnostic[],
  sources: ReadonlyMap<string, string>,
  workspace: string,
): Annotation[] {
  const counts = new Map<Severity, number>();
  return toJson(diagnostics, sources)
    .filter(({ severity }) => {
      const count = (counts.get(severity) ?? 0) + 1;
      counts.set(severity, count);
      return count <= mostOf[severity];
    })
    .map((one) => ({
      severity: one.severity,
      message: messageOf(one),
      properties: { title: one.code, ...placeOf(one, workspace) },
    }));
}

/** Prints them for the runner. */
export function issueAnnotations(annotations: readonly Annotation[]): void {
  for (const { severity, message, properties } of annotations) issue[severity](message, properties);
}

function messageOf({ message, notes, help }: DiagnosticJson): string {
  const text = [message, ...notes, ...(help === undefined ? [] : [help])]
    .flatMap((part) => part.split('\n'))
    .map(printable)
    .join('\n');
  return text.length <= longestMessage ? text : `${text.slice(0, longestMessage - 1)}…`;
}

function placeOf(
  { file, line, column }: DiagnosticJson,
  workspace: string,
): Pick<AnnotationProperties, 'file' | 'startLine' | 'startColumn'> {
  if (file === undefined) return {};
  const path = relative(workspace, resolve(workspace, file));
  if (path === '..' || path.startsWith('../') || isAbsolute(path)) return {};
  return {
    file: printable(path),
    ...(line !== undefined && { startLine: line }),
    ...(column !== undefined && { startColumn: column }),
  };
}
