/** What an archive's `Release` text says: which suite it is, from when, and the digests of its indexes. */
import { parseDeb822 } from '../archive/deb822.ts';

export interface ReleaseEntry {
  readonly sha256: string;
  /** Bytes. */
  readonly size: number;
}

export interface ReleaseFile {
  readonly codename: string;
  readonly date: Date;
  readonly validUntil?: Date;
  /** Whether files are kept under the name of their digest too, so that an update in between breaks nothing. */
  readonly byHash: boolean;
  /** Path below the suite's folder to the file's digest. */
  readonly files: ReadonlyMap<string, ReleaseEntry>;
}

const months = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];
const datePattern =
  /^[A-Z][a-z]{2}, +(\d{1,2}) ([A-Z][a-z]{2}) (\d{4}) (\d{2}):(\d{2}):(\d{2}) (?:UTC|GMT|\+0000)$/;

/** The one form of date that archives use; anything else is refused rather than guessed at. */
function parseDate(text: string | undefined): Date | undefined {
  const [, day, month = '', year, hour, minute, second] = datePattern.exec(text ?? '') ?? [];
  const place = months.indexOf(month);
  if (place < 0) return undefined;
  return new Date(Date.UTC(Number(year), place, Number(day), Number(hour), Number(minute), Number(second)));
}

function parseFiles(text: string): ReadonlyMap<string, ReleaseEntry> {
  const files = new Map<string, ReleaseEntry>();
  for (const line of text.split('\n')) {
    const [, sha256, size, path] = /^([0-9a-f]{64}) +(\d{1,15}) +(\S+)$/.exec(line) ?? [];
    if (sha256 !== undefined && path !== undefined) files.set(path, { sha256, size: Number(size) });
  }
  return files;
}

/**
 * Reads the text of a `Release` file, fields as https://wiki.debian.org/DebianRepository/Format lists them.
 * @returns what is wrong, when a field that is needed is missing or cannot be read
 */
export function readReleaseFile(text: string): ReleaseFile | { readonly fault: string } {
  const { stanzas, problems } = parseDeb822(text);
  const [problem] = problems;
  if (problem) return { fault: `line ${problem.line}: ${problem.reason}` };
  const [stanza, second] = stanzas;
  if (!stanza || second) return { fault: 'it has not exactly one stanza' };
  const codename = stanza.get('codename');
  const date = parseDate(stanza.get('date'));
  const validUntil = parseDate(stanza.get('valid-until'));
  const files = parseFiles(stanza.get('sha256') ?? '');
  if (codename === undefined || codename === '') return { fault: 'it has no Codename' };
  if (!date) return { fault: 'it has no Date that can be read' };
  if (stanza.has('valid-until') && !validUntil) return { fault: 'its Valid-Until cannot be read' };
  if (files.size === 0) return { fault: 'it lists no SHA256 digests' };
  return {
    codename,
    date,
    ...(validUntil && { validUntil }),
    byHash: stanza.get('acquire-by-hash') === 'yes',
    files,
  };
}
