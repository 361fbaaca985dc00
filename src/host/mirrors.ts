/** The machine's own map of where things are fetched from: `QUERN_MIRRORS="http://deb.debian.org/debian=http://mirror.otter-bank.example/debian"`. */
import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { fetchCodes } from './fetch-codes.ts';

export interface Mirror {
  /** What a URL begins with; it ends where a path segment does. */
  readonly prefix: string;
  readonly replacement: string;
}

const location = /^https?:\/\/[^\s/]+/;

function parseMirror(pair: string): Mirror {
  // The first `=` in front of a URL: a `=` may stand in either.
  const [, prefix = '', replacement = ''] = /^(.*?)=(https?:\/\/.*)$/.exec(pair) ?? [];
  if (location.test(prefix) && location.test(replacement)) return { prefix, replacement };
  throw new Failure(
    fetchCodes.report('host/bad-mirror', {
      message: `QUERN_MIRRORS has ${quoted(pair, 120)}, which is no PREFIX=REPLACEMENT`,
      notes: ['Both are http or https URLs; pairs are separated by white space.'],
      help: 'For example: http://deb.debian.org/debian=http://mirror.otter-bank.example/debian',
    }),
  );
}

/**
 * Reads the value of `QUERN_MIRRORS`: pairs `PREFIX=REPLACEMENT`, separated by white space.
 * @throws Failure `host/bad-mirror`
 */
export function parseMirrors(text: string): readonly Mirror[] {
  return text
    .split(/\s+/)
    .filter((pair) => pair !== '')
    .map(parseMirror);
}

function covers(prefix: string, url: string): boolean {
  if (!url.startsWith(prefix)) return false;
  // `…/debian` is not the beginning of `…/debian-security/…`.
  return prefix.endsWith('/') || url.length === prefix.length || '/?#'.includes(url.charAt(prefix.length));
}

/** `url`, with the longest prefix that a mirror has for it replaced. */
export function applyMirrors(url: string, mirrors: readonly Mirror[]): string {
  const [mirror] = mirrors
    .filter(({ prefix }) => covers(prefix, url))
    .toSorted((a, b) => b.prefix.length - a.prefix.length);
  return mirror ? mirror.replacement + url.slice(mirror.prefix.length) : url;
}
