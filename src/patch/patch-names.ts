/** The names of files in a patch, as `diff`, `git` and GNU patch write and read them. */

export interface HeaderName {
  /** Without what is stripped; `undefined` when nothing is left of it, or it is `/dev/null`. */
  readonly path: string | undefined;
  /** The file is not there on this side. */
  readonly nowhere: boolean;
  /** Milliseconds since 1970, where the header has a time. */
  readonly time: number | undefined;
}

/** The name behind `--- ` or `+++ `. @param strip how many folders are left out (`patch -pN`) */
export function readHeaderName(line: string, strip: number): HeaderName {
  if (line.length > longestLine) return { path: undefined, nowhere: false, time: undefined };
  const text = line.slice(4);
  const [name = '', stamp = ''] = text.startsWith('"') ? [unquoteName(text)] : text.split('\t');
  const trimmed = name.trimEnd();
  const time = readTime(stamp);
  if (trimmed === '/dev/null') return { path: undefined, nowhere: true, time };
  // diff writes the beginning of time for a file that is not there
  return { path: strippedName(trimmed, strip), nowhere: time === 0, time };
}

function readTime(stamp: string): number | undefined {
  const parts = /^(\d{4}-\d\d-\d\d) (\d\d:\d\d:\d\d)(?:\.\d+)? ([+-]\d\d)(\d\d)/.exec(stamp);
  if (!parts) return undefined;
  const time = Date.parse(`${parts[1]}T${parts[2]}${parts[3]}:${parts[4]}`);
  return Number.isNaN(time) ? undefined : time;
}

/** Several slashes count as one; a name with fewer folders than are stripped has nothing left. */
export function strippedName(name: string, strip: number): string | undefined {
  const parts = name.split(/\/+/);
  const path = parts.slice(strip).join('/');
  return path === '' || parts.length <= strip ? undefined : path;
}

/** A name as git quotes it (core.quotePath in git-config(1)), behind its first quotation mark. */
export function unquoteName(text: string): string {
  const inner = /^"((?:[^"\\]|\\.)*)"/.exec(text)?.[1] ?? text;
  return inner.replaceAll(/\\([0-7]{3}|.)/g, (_, escape: string) => {
    if (/^[0-7]{3}$/.test(escape)) return String.fromCharCode(Number.parseInt(escape, 8) & 0xff);
    return escapes[escape] ?? escape;
  });
}

const escapes: Readonly<Record<string, string>> = {
  n: '\n',
  t: '\t',
  r: '\r',
  a: '\x07',
  b: '\b',
  f: '\f',
  v: '\v',
};

/** Two names, of which no system has longer ones than 4,096 bytes, each of these as four characters. */
const longestLine = 2 * 4 * 4096;

/** `a/x b/x` behind `diff --git `: both are the same unless other lines say so, and names may hold blanks. */
export function readGitNames(line: string): readonly [string, string] {
  if (line.length > longestLine) return ['', ''];
  const pair = /^("(?:[^"\\]|\\.)*"|\S+) ("(?:[^"\\]|\\.)*"|\S+)$/.exec(line);
  if (pair && line.includes('"')) return [unquoteName(pair[1] ?? ''), unquoteName(pair[2] ?? '')];
  const half = (line.length - 1) / 2;
  const [first, second] = [line.slice(0, half), line.slice(half + 1)];
  if (line[half] === ' ' && strippedName(first, 1) === strippedName(second, 1)) return [first, second];
  return [pair?.[1] ?? '', pair?.[2] ?? ''];
}
