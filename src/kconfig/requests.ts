import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { kconfigCodes } from './codes.ts';
import { formatConfigLine, readConfigLine } from './dot-config.ts';
import { lineFault, valueFault } from './fragment-fault.ts';
import { showBytes } from './latin1.ts';

export interface Origin {
  readonly file: string;
  /**
   * From 1.
   *
   * @asType integer
   */
  readonly line?: number;
}

/** Where something stands, for people. */
export function placeText({ file, line }: Origin): string {
  return line === undefined ? file : `${file}:${line}`;
}

/** One option value that the spec or one of its fragments asks for. */
export interface Request {
  /** Without the `CONFIG_` prefix. */
  readonly option: string;
  /** In latin1, as it stands behind `CONFIG_X=`: `y`, `m`, `n`, `16`, `0x10`, or a string in quotes. */
  readonly value: string;
  readonly origin: Origin;
}

/** U+FEFF in UTF-8, as latin1. */
const byteOrderMark = '\xef\xbb\xbf';

/**
 * Reads the requests of a fragment. It is stricter than the kernel, which passes over most mistakes without a word
 * that anybody sees.
 *
 * @param text the fragment, in latin1
 * @param file its name, for origins and diagnostics
 */
export function fragmentRequests(
  text: string,
  file: string,
): { readonly value: readonly Request[]; readonly diagnostics: readonly Diagnostic[] } {
  const value: Request[] = [];
  const diagnostics: Diagnostic[] = [];
  let start = 0;
  if (text.startsWith(byteOrderMark)) {
    start = byteOrderMark.length;
    diagnostics.push(
      kconfigCodes.report('kconfig/fragment-line', {
        message: `${quoted(file)} begins with a byte-order mark, which the kernel takes for a part of its first line`,
        span: { file, start: 0, end: start },
        help: 'save it without',
      }),
    );
  }
  for (const [index, raw] of text.slice(start).split('\n').entries()) {
    const line = raw.trimEnd();
    const read = readConfigLine(line);
    const fault = faultOf(line);
    if (fault) {
      const span = { file, start, end: start + Math.max(1, line.length) };
      diagnostics.push(
        kconfigCodes.report('kconfig/fragment-line', {
          message: `line ${index + 1} of ${quoted(file)} asks for nothing: ${fault.why}`,
          span,
          help:
            fault.instead === undefined
              ? 'take it out, or put `#` in front'
              : `write ${quoted(fault.instead)}`,
        }),
      );
    } else if (read.kind === 'value') {
      value.push({ option: read.option, value: read.value, origin: { file, line: index + 1 } });
    }
    start += raw.length + 1;
  }
  return { value, diagnostics };
}

function faultOf(line: string): { readonly why: string; readonly instead?: string } | undefined {
  const control = /[\0-\x08\x0a-\x1f\x7f]/.exec(line)?.[0];
  if (control !== undefined) return { why: `it has ${quoted(control)} in it` };
  const read = readConfigLine(line);
  if (read.kind !== 'value') return line === '' ? undefined : lineFault(line);
  const { option, value } = read;
  const bare = option.replace(/^(?:CONFIG_)+/, '');
  const fault = valueFault(value);
  const right = fault ? fault.instead : value;
  if (bare !== option) {
    const why = 'the prefix `CONFIG_` stands there twice';
    return right === undefined ? { why } : { why, instead: formatConfigLine(bare, right) };
  }
  return (
    fault && { why: fault.why, ...(right !== undefined && { instead: formatConfigLine(option, right) }) }
  );
}

/** Of each option the last request, in the order in which these stand. */
export function lastRequests(requests: readonly Request[]): Request[] {
  const last = new Map<string, Request>();
  for (const request of requests) {
    last.delete(request.option);
    last.set(request.option, request);
  }
  return [...last.values()];
}

/** The requests for each option, in their order; the last one counts. */
export function requestsByOption(requests: readonly Request[]): ReadonlyMap<string, readonly Request[]> {
  const all = new Map<string, Request[]>();
  for (const request of requests) {
    const earlier = all.get(request.option);
    if (earlier) earlier.push(request);
    else all.set(request.option, [request]);
  }
  return all;
}

/** A note for each option that is asked for more than once with different values: which of them counts. */
export function explainOverrides(requests: readonly Request[]): Diagnostic[] {
  return [...requestsByOption(requests)]
    .filter(([, same]) => new Set(same.map(({ value }) => value)).size > 1)
    .map(([option, same]) => {
      const list = same.map(({ value, origin }) => `${quoted(showBytes(value))} (${placeText(origin)})`);
      return kconfigCodes.report('kconfig/overridden', {
        message: `${option} is asked for more than once: ${list.join(', then ')}`,
        notes: ['the last one counts'],
      });
    });
}
