/**
 * `SHA256SUMS` in the format of the GNU coreutils: `DIGEST`, a blank, a blank or `*`, the name. A name that holds a
 * backslash, a newline or a carriage return is written with `\\`, `\n`, `\r`, and its line begins with a backslash.
 * Source: coreutils manual, "md5sum invocation", of which `sha256sum` is a variant.
 */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { recordCodes } from './codes.ts';

export interface Checksum {
  /** Relative to the folder of the file, `/` between parts. */
  readonly name: string;
  /** 64 lower-case hex digits. */
  readonly sha256: string;
}

export interface ChecksumsReading {
  /** Name to SHA-256 in lower-case hex, in the order of the lines. */
  readonly value: ReadonlyMap<string, string>;
  readonly diagnostics: readonly Diagnostic[];
}

const digestShape = /^[0-9a-f]{64}$/;

/**
 * Formats the lines, in bytewise order of the names, so that the same artefacts give the same text.
 * Throws a RangeError for a digest or a name that no reader would accept.
 */
export function formatChecksums(entries: readonly Checksum[]): string {
  const keyed = entries.map((entry) => ({ entry, key: [...new TextEncoder().encode(entry.name)] }));
  keyed.sort((a, b) => compare(a.key, b.key));
  return keyed.map(({ entry }) => formatLine(entry)).join('');
}

function formatLine({ name, sha256 }: Checksum): string {
  if (!digestShape.test(sha256))
    throw new RangeError(`${JSON.stringify(sha256)} is no SHA-256 in lower-case hex`);
  if (!staysInside(name)) throw new RangeError(`${JSON.stringify(name)} is no name below a folder`);
  const escaped = name.replace(/[\\\n\r]/g, (character) => escapes[character] ?? character);
  return `${escaped === name ? '' : '\\'}${sha256}  ${escaped}\n`;
}

const escapes: Readonly<Record<string, string>> = { '\\': '\\\\', '\n': '\\n', '\r': '\\r' };
const unescapes: Readonly<Record<string, string>> = { '\\\\': '\\', '\\n': '\n', '\\r': '\r' };

function compare(a: readonly number[], b: readonly number[]): number {
  const at = a.findIndex((value, index) => value !== b[index]);
  if (at < 0) return a.length - b.length;
  return (a[at] ?? 0) - (b[at] ?? -1);
}

/**
 * Whether `name` names something below the folder it is relative to: not absolute, no part `.` or `..` or empty, no
 * NUL. Backslashes are ordinary characters here, as they are to the kernel.
 */
export function staysInside(name: string): boolean {
  return (
    !name.includes('\0') && name.split('/').every((part) => part !== '' && part !== '.' && part !== '..')
  );
}

const lineShape = /^(?<escaped>\\?)(?<digest>[0-9A-Fa-f]{64}) [ *](?<name>[^]+)$/;

/**
 * Reads such a file; every bad line is reported, the good ones are returned. Like `sha256sum -c --strict`, but names
 * that leave the folder and names that come twice are errors as well.
 *
 * `file` is what the diagnostics call it.
 */
export function parseChecksums(text: string, file = 'SHA256SUMS'): ChecksumsReading {
  const diagnostics: Diagnostic[] = [];
  const value = new Map<string, string>();
  let start = 0;
  for (const whole of text.split('\n')) {
    const span = { file, start, end: start + whole.length };
    start += whole.length + 1;
    // As coreutils do: a list may have been through a machine that ends lines with CR LF, and may hold comments.
    const line = whole.replace(/\r$/, '');
    if (line.startsWith('#') || line === '') continue;
    const entry = parseLine(line);
    if (!entry) {
      diagnostics.push(
        recordCodes.report('record/malformed-checksums', {
          message: `${quoted(line)} is not of the form \`DIGEST  NAME\` with 64 hex digits`,
          span,
          help: 'Take the file again from where the kernel was built; sha256sum writes it.',
        }),
      );
    } else if (!staysInside(entry.name)) {
      diagnostics.push(
        recordCodes.report('record/path-outside', {
          message: `${quoted(entry.name)} is no file below the folder of ${quoted(file)}`,
          span,
          notes: ['A record speaks of the files beside it and of nothing else.'],
        }),
      );
    } else if (value.has(entry.name)) {
      diagnostics.push(
        recordCodes.report('record/duplicate-name', {
          message: `${quoted(entry.name)} is listed twice`,
          span,
        }),
      );
    } else {
      value.set(entry.name, entry.sha256);
    }
  }
  return { value, diagnostics };
}

function parseLine(line: string): Checksum | undefined {
  const { escaped, digest, name } = lineShape.exec(line)?.groups ?? {};
  if (digest === undefined || name === undefined) return undefined;
  const sha256 = digest.toLowerCase();
  if (!escaped) return { name, sha256 };
  if (/\\(?![\\nr])/.test(name.replaceAll('\\\\', ''))) return undefined;
  return { name: name.replace(/\\[\\nr]/g, (pair) => unescapes[pair] ?? pair), sha256 };
}
