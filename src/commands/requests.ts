import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { indexLines, positionAt } from '../diagnostics/line-column.ts';
import { explainOverrides, fragmentRequests, type Request } from '../kconfig/requests.ts';
import type { OpenSpec } from './open-spec.ts';
import type { LocalFiles } from './spec-files.ts';

/**
 * All requests of a spec in the order in which they count: the fragments' as listed, then those of `set`.
 *
 * @throws Failure when a fragment has a line that is none
 */
export function collectRequests(
  { spec, path, sources, place }: OpenSpec,
  files: LocalFiles,
): { readonly requests: readonly Request[]; readonly diagnostics: readonly Diagnostic[] } {
  const fragments = files.fragments.map(({ path, content }) =>
    // a .config holds bytes, not characters
    fragmentRequests(Buffer.from(content).toString('latin1'), path),
  );
  const faults = fragments.flatMap((fragment) => fragment.diagnostics);
  if (exitOf(faults) !== exitCodes.ok) throw new Failure(faults, { sources: fragmentTexts(files) });
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
  return { requests, diagnostics: [...faults, ...explainOverrides(requests)] };
}

function fragmentTexts(files: LocalFiles): ReadonlyMap<string, string> {
  return new Map(files.fragments.map(({ path, content }) => [path, Buffer.from(content).toString('latin1')]));
}
