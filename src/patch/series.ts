/** A series file as quilt(1) has it: one patch a line, options of GNU patch behind it, comments with `#`. */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { patchCodes } from './codes.ts';

export interface SeriesEntry {
  /** Relative to the folder of the series. */
  readonly path: string;
  readonly strip: number;
  readonly reverse: boolean;
  /** Where the line is in the text. */
  readonly start: number;
  readonly end: number;
}

/** Folders in front of a name; no tree is as deep. */
export const mostStripped = 20;

/**
 * @param name of the series, for diagnostics, whose spans are in its text
 * @param strip what holds where a line says nothing
 */
export function parseSeries(
  name: string,
  text: string,
  strip = 1,
): { readonly entries: readonly SeriesEntry[]; readonly diagnostics: readonly Diagnostic[] } {
  const entries: SeriesEntry[] = [];
  const diagnostics: Diagnostic[] = [];
  for (const { 0: line, index } of text.matchAll(/[^\n]+/g)) {
    // a comment stands alone, or behind a blank
    const [path, ...words] = line
      .replace(/(?:^|\s)#.*$/, '')
      .split(/\s+/)
      .filter(Boolean);
    if (path === undefined) continue;
    const span = { file: name, start: index, end: index + line.trimEnd().length };
    const options = readOptions(words, strip);
    if (typeof options !== 'string') {
      entries.push({ path, ...options, start: span.start, end: span.end });
      continue;
    }
    diagnostics.push(
      patchCodes.report('patch/bad-series', {
        message: `the series ${quoted(name, 120)} has an option that is not known here: ${quoted(options)}`,
        span,
        notes: [
          'Behind the name of a patch stand -pN (folders that are left out of its names) and -R (reversed).',
        ],
        help: 'Take it out; fuzz is allowed in the spec (fuzz: 1).',
      }),
    );
  }
  return { entries, diagnostics };
}

function readOptions(
  words: readonly string[],
  strip: number,
): { readonly strip: number; readonly reverse: boolean } | string {
  const found = { strip, reverse: false };
  for (const word of words) {
    const digits = /^(?:-p|--strip=)(\d{1,2})$/.exec(word)?.[1];
    if (digits !== undefined && Number(digits) <= mostStripped) found.strip = Number(digits);
    // quilt's own: names with a/ and b/ in front
    else if (word === '-pab') found.strip = 1;
    else if (word === '-R' || word === '--reverse') found.reverse = true;
    else return word;
  }
  return found;
}
