import { exitCodes, exitOf, type Diagnostic, type Span } from '../diagnostics/diagnostic.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { indexLines, positionAt, spanOfLine } from '../diagnostics/line-column.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import { explainOverrides, fragmentRequests, type Origin, type Request } from '../kconfig/requests.ts';
import type { OpenSpec } from './open-spec.ts';
import { besideSpec } from './resolve-inside.ts';
import type { LocalFiles } from './spec-files.ts';

/** What a spec and its fragments ask for. */
export interface Asked {
  /** In the order in which they count: the fragments' as listed, then those of `set`. */
  readonly requests: readonly Request[];
  readonly diagnostics: readonly Diagnostic[];
  /** The texts of spec, base and fragments, by name. */
  readonly sources: ReadonlyMap<string, string>;
  /** Where a request stands in one of these. */
  spanOf(origin: Origin): Span | undefined;
}

/**
 * All requests of a spec.
 *
 * @throws Failure when a fragment has a line that is none
 */
export function collectRequests({ spec, path, sources, place }: OpenSpec, files: LocalFiles): Asked {
  const texts = new Map(
    files.fragments.map((file) => [besideSpec(path, file.path), decodeLatin1(file.content)]),
  );
  const { base } = files;
  const baseText = base ? [[besideSpec(path, base.path), decodeLatin1(base.content)] as const] : [];
  const fragments = [...texts].map(([file, text]) => fragmentRequests(text, file));
  const faults = fragments.flatMap((fragment) => fragment.diagnostics);
  if (exitOf(faults) !== exitCodes.ok) throw new Failure(faults, { sources: texts });
  const lines = indexLines(sources.get(path) ?? '');
  const lineOf = (option: string): { line?: number } => {
    const span = place(['config', 'set', option]);
    return span ? { line: positionAt(lines, span.start).line } : {};
  };
  const set = spec.config.set.map(({ option, value }) => ({
    option,
    value: Buffer.from(value, 'utf8').toString('latin1'),
    origin: { file: path, ...lineOf(option) },
  }));
  const requests = [...fragments.flatMap((fragment) => fragment.value), ...set];
  const all = new Map([...baseText, ...texts, ...sources]);
  return {
    requests,
    diagnostics: [...faults, ...explainOverrides(requests)],
    sources: all,
    spanOf({ file, line }) {
      const text = all.get(file);
      return text === undefined || line === undefined ? undefined : spanOfLine(file, text, line);
    },
  };
}
