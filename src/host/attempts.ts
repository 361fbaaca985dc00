/** What became of the places that a file was to be fetched from. */
import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { fetchCodes, type FetchCode } from './fetch-codes.ts';
import { FetchError } from './fetch-error.ts';

export interface Attempt {
  readonly url: string;
  readonly why: string;
  readonly kind: 'content' | 'forbidden' | 'gone' | 'failed';
}

function codeOf(error: unknown): string | undefined {
  return error instanceof Failure ? error.diagnostics[0]?.code : undefined;
}

export function isWrongDigest(error: unknown): boolean {
  return codeOf(error) === 'host/wrong-digest';
}

const contentCodes: ReadonlySet<string | undefined> = new Set([
  'host/wrong-digest',
  'host/wrong-size',
  'host/not-the-file',
]);

/** Makes an attempt of an error that belongs to the URL; anything else (the store, Ctrl-C, a bug) is thrown again. */
export function judgeAttempt(url: string, error: unknown): Attempt {
  if (error instanceof FetchError) {
    const gone = error.status === 404 || error.status === 410;
    return { url, why: error.message, kind: error.forbidden ? 'forbidden' : gone ? 'gone' : 'failed' };
  }
  const code = codeOf(error);
  if (error instanceof Failure && contentCodes.has(code)) return { url, why: error.message, kind: 'content' };
  throw error;
}

/**
 * What to say when no place has a file.
 * @param more notes
 * @param refresh what is pinned anew when the file is gone for good
 */
export function noPlaceHas(
  name: string,
  attempts: readonly Attempt[],
  more: readonly string[],
  refresh: 'packages' | 'source',
): Diagnostic {
  const is = (kind: Attempt['kind']): boolean => attempts.some((attempt) => attempt.kind === kind);
  const notes = [...attempts.map(({ url, why }) => `${url}: ${why}`), ...more];
  const report = (code: FetchCode, message: string, help: string): Diagnostic =>
    fetchCodes.report(code, { message, notes, help });
  if (attempts.length === 0) {
    const help = 'Lay the file into the store of this machine, or pin it anew: quern pin --refresh all.';
    return report('host/gone', `there is no place to fetch ${name} from`, help);
  }
  if (is('content')) {
    const help =
      'Either the place is not what it should be, or the file was replaced there: try another mirror ' +
      `(QUERN_MIRRORS), or look into what has changed and pin anew (quern pin --refresh ${refresh}).`;
    return report('host/wrong-digest', `${name} is not the file that was pinned`, help);
  }
  if (is('forbidden')) {
    const help =
      'If it really is to be fetched from there, allow the host on this machine: QUERN_ALLOWED_HOSTS=NAME. ' +
      'Whoever wrote the spec or runs the server must not decide that.';
    return report('host/forbidden-target', `${name} leads to where nothing is fetched from`, help);
  }
  if (!is('failed')) {
    const help =
      'Name a mirror or a snapshot that still has it in QUERN_MIRRORS="PREFIX=REPLACEMENT", ' +
      `or pin what there is today: quern pin --refresh ${refresh}.`;
    return report('host/gone', `${name} has left every place that it could be fetched from`, help);
  }
  const help =
    'Check the network of this machine and try again, or name a mirror that can be reached: ' +
    `QUERN_MIRRORS="PREFIX=REPLACEMENT". If the file has left all of them: quern pin --refresh ${refresh}.`;
  return report('host/download-failed', `${name} cannot be fetched`, help);
}
