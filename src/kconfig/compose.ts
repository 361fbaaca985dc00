import { formatConfigLine, optionOfConfigLine } from './dot-config.ts';
import { lastRequests, requestsByOption, type Origin, type Request } from './requests.ts';
import { quoted } from '../diagnostics/printable.ts';

export interface Override {
  readonly request: Request;
  /** The request for the same option that counts instead. */
  readonly by: Request;
}

/** A configuration put together, before it is brought up to date. */
export interface Composition {
  /** A `.config` for `olddefconfig`, in latin1. */
  readonly text: string;
  /** Where each of its lines comes from, the first at index 0. */
  readonly origins: readonly Origin[];
  /** Where the value of each option that it speaks of comes from. */
  readonly originOf: ReadonlyMap<string, Origin>;
  /** Requests that later ones for the same option replace, in their order. */
  readonly overridden: readonly Override[];
}

/**
 * Lays requests over a base: the earlier lines of an option are removed and the new one is appended at the end, so that
 * the order of requests is kept, which choices heed.
 *
 * @param base a `.config`, in latin1, and its name for origins
 * @param requests those of the fragments, in order, then those of the spec itself
 */
export function compose(
  base: { readonly file: string; readonly text: string },
  requests: readonly Request[],
): Composition {
  const all = requestsByOption(requests);
  const lines: string[] = [];
  const origins: Origin[] = [];
  const originOf = new Map<string, Origin>();

  function add(line: string, option: string | undefined, origin: Origin): void {
    lines.push(`${line}\n`);
    origins.push(origin);
    if (option !== undefined) originOf.set(option, origin);
  }

  const baseLines = base.text.split('\n');
  if (baseLines.at(-1) === '') baseLines.pop();
  for (const [index, line] of baseLines.entries()) {
    const option = optionOfConfigLine(line);
    if (option === undefined || !all.has(option)) add(line, option, { file: base.file, line: index + 1 });
  }
  for (const { option, value, origin } of lastRequests(requests)) {
    const line = formatConfigLine(option, value);
    // Readers of specs and fragments let no line break pass; one that came here would smuggle in other requests.
    if (/[\r\n]/.test(line)) throw new Error(`a request has a line break in it: ${quoted(line)}`);
    add(line, option, origin);
  }
  const overridden = requests.flatMap((request) => {
    const by = all.get(request.option)?.at(-1);
    return by && by !== request ? [{ request, by }] : [];
  });
  return { text: lines.join(''), origins, originOf, overridden };
}
