/**
 * A string value as it stands in a `.config`: in quotes, `\` and `"` escaped. This is all the escaping there is:
 * the kernel's reader takes `\c` for `c` whatever `c` is (scripts/kconfig/confdata.c).
 */
export function quoteString(text: string): string {
  return `"${text.replace(/["\\]/g, String.raw`\$&`)}"`;
}

/** What a quoted value says, or `undefined` when `value` is not one string in quotes and nothing more. */
export function unquoteString(value: string): string | undefined {
  return stringEnd(value) === value.length ? leadingString(value) : undefined;
}

/** What the string says that a value begins with; `undefined` when it begins with none, or with one that is not closed. */
export function leadingString(value: string): string | undefined {
  const end = stringEnd(value);
  return end === undefined ? undefined : value.slice(1, end - 1).replace(/\\(.)/gs, '$1');
}

const quote = 0x22;
const backslash = 0x5c;

/** Where the string that a value begins with ends, its closing quote included. */
export function stringEnd(value: string): number | undefined {
  if (value.charCodeAt(0) !== quote) return undefined;
  // A regular expression with an alternative for each character runs out of stack when the string is long.
  for (let position = 1; position < value.length; position += 1) {
    const code = value.charCodeAt(position);
    if (code === quote) return position + 1;
    if (code === backslash) position += 1;
  }
  return undefined;
}
