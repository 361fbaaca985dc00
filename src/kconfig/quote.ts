/**
 * A string value as it stands in a `.config`: in quotes, `\` and `"` escaped. This is all the escaping there is:
 * the kernel's reader takes `\c` for `c` whatever `c` is (scripts/kconfig/confdata.c).
 */
export function quoteString(text: string): string {
  return `"${text.replace(/["\\]/g, String.raw`\$&`)}"`;
}

/** What a quoted value says, or `undefined` when `value` is not one string in quotes and nothing more. */
export function unquoteString(value: string): string | undefined {
  const inner = /^"((?:[^"\\]|\\.)*)"$/s.exec(value)?.[1];
  return inner?.replace(/\\(.)/gs, '$1');
}
