/**
 * Debian's version numbers, `[epoch:]upstream[-revision]`, and their order.
 * Source: Debian Policy section 5.6.12. `dpkg --compare-versions` is the referee in the tests.
 */

export interface DebianVersion {
  readonly epoch: string;
  readonly upstream: string;
  /** Empty when the version has none; the order treats that as `0`. */
  readonly revision: string;
}

export type VersionRelation = '<<' | '<=' | '=' | '>=' | '>>';

const wellFormed = /^(?:\d+:)?\d[A-Za-z0-9.+~:-]*$/;

/** Whether `text` is a version by the grammar of Policy; the order below is defined for any text. */
export function isDebianVersion(text: string): boolean {
  if (!wellFormed.test(text)) return false;
  const { epoch, upstream, revision } = parseDebianVersion(text);
  const bare = !text.includes(':') || text.startsWith(`${epoch}:`);
  return bare && upstream !== '' && !text.endsWith('-') && !revision.includes(':');
}

/** The parts of a version: the epoch ends at the first colon, the revision begins behind the last hyphen. */
export function parseDebianVersion(text: string): DebianVersion {
  const colon = text.indexOf(':');
  const rest = text.slice(colon + 1);
  const hyphen = rest.lastIndexOf('-');
  return {
    epoch: colon < 0 ? '0' : text.slice(0, colon),
    upstream: hyphen < 0 ? rest : rest.slice(0, hyphen),
    revision: hyphen < 0 ? '' : rest.slice(hyphen + 1),
  };
}

const zero = 48;
const nine = 57;
const tilde = 126;

function isDigit(code: number): boolean {
  return code >= zero && code <= nine;
}

/** The place of a character in the order of non-digit parts: `~`, then the end, then letters, then the rest. */
function weight(code: number): number {
  if (Number.isNaN(code) || isDigit(code)) return 0;
  if (code === tilde) return -1;
  const letter = (code >= 65 && code <= 90) || (code >= 97 && code <= 122);
  return letter ? code : code + 256;
}

/** Compares one part: in turn a run of non-digits by `weight` and a run of digits by its numerical value. */
function comparePart(left: string, right: string): number {
  let i = 0;
  let j = 0;
  while (i < left.length || j < right.length) {
    while (
      (i < left.length && !isDigit(left.charCodeAt(i))) ||
      (j < right.length && !isDigit(right.charCodeAt(j)))
    ) {
      const difference = weight(left.charCodeAt(i)) - weight(right.charCodeAt(j));
      if (difference !== 0) return difference;
      i += 1;
      j += 1;
    }
    while (left.charCodeAt(i) === zero) i += 1;
    while (right.charCodeAt(j) === zero) j += 1;
    // Digit runs may be longer than a number can hold exactly: the longer one is greater, else the first difference.
    let first = 0;
    while (isDigit(left.charCodeAt(i)) && isDigit(right.charCodeAt(j))) {
      if (first === 0) first = left.charCodeAt(i) - right.charCodeAt(j);
      i += 1;
      j += 1;
    }
    if (isDigit(left.charCodeAt(i))) return 1;
    if (isDigit(right.charCodeAt(j))) return -1;
    if (first !== 0) return first;
  }
  return 0;
}

/** Negative when `left` is the earlier version, positive when it is the later one, 0 when they are equal. */
export function compareDebianVersions(left: string, right: string): number {
  if (left === right) return 0;
  const a = parseDebianVersion(left);
  const b = parseDebianVersion(right);
  return (
    comparePart(a.epoch, b.epoch) ||
    comparePart(a.upstream, b.upstream) ||
    comparePart(a.revision, b.revision)
  );
}

/** Whether `version` stands in `relation` to `bound`: `satisfiesVersion('2.40-2', '>=', '2.40')`. */
export function satisfiesVersion(version: string, relation: VersionRelation, bound: string): boolean {
  const order = compareDebianVersions(version, bound);
  switch (relation) {
    case '<<':
      return order < 0;
    case '<=':
      return order <= 0;
    case '=':
      return order === 0;
    case '>=':
      return order >= 0;
    case '>>':
      return order > 0;
  }
}
