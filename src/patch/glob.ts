/** Patterns of file names: `*` and `?` stand for characters, `[…]` for one of some, none of them for a slash. */

/** Whether a text is a pattern, and no name. */
export function isGlob(text: string): boolean {
  return /[*?[]/.test(text);
}

/** The folder that everything lies in that could match: `patches/` of `patches/*.patch`; empty for the top. */
export function globFolder(pattern: string): string {
  const fixed = pattern.slice(0, pattern.search(/[*?[]/));
  return fixed.slice(0, fixed.lastIndexOf('/') + 1).replace(/\/$/, '');
}

/** Like glob(7), and as there no `*` or `?` stands for a dot in front. */
export function matchesGlob(pattern: string, path: string): boolean {
  const parts = pattern.split('/');
  const names = path.split('/');
  return parts.length === names.length && parts.every((part, nth) => matchesName(part, names[nth] ?? ''));
}

/** One star at a time is tried to be longer: in time that grows with name times pattern, not with its power. */
function matchesName(pattern: string, name: string): boolean {
  if (name.startsWith('.') && !pattern.startsWith('.')) return false;
  const tokens = pattern.match(/\[!?[^\]]+\]|[^]/gu) ?? [];
  const characters = [...name];
  let [token, at] = [0, 0];
  let star: { readonly token: number; at: number } | undefined;
  while (at < characters.length) {
    if (tokens[token] === '*') {
      star = { token, at };
      token += 1;
    } else if (token < tokens.length && matchesOne(tokens[token] ?? '', characters[at] ?? '')) {
      token += 1;
      at += 1;
    } else if (star) {
      star.at += 1;
      [token, at] = [star.token + 1, star.at];
    } else return false;
  }
  return tokens.slice(token).every((one) => one === '*');
}

function matchesOne(token: string, character: string): boolean {
  if (token === '?') return true;
  if (!/^\[.+\]$/u.test(token)) return token === character;
  const negated = token[1] === '!';
  const members = token.slice(negated ? 2 : 1, -1);
  const within = [...members.matchAll(/(.)-(.)|(.)/gu)].some(([, low, high, one]) =>
    low !== undefined && high !== undefined ? low <= character && character <= high : one === character,
  );
  return within !== negated;
}

/** Orders names by their bytes in UTF-8, whatever the locale: `10` before `9`, `B` before `a`. */
export function inByteOrder(one: string, other: string): number {
  const [left, right] = [one, other].map((text) => new TextEncoder().encode(text));
  const length = Math.min(left?.length ?? 0, right?.length ?? 0);
  for (let at = 0; at < length; at += 1) {
    const difference = (left?.[at] ?? 0) - (right?.[at] ?? 0);
    if (difference !== 0) return difference;
  }
  return (left?.length ?? 0) - (right?.length ?? 0);
}
