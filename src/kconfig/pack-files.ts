/** Which files of a kernel tree a configuration hangs on: the ones that a pack keeps. */

const patterns: readonly RegExp[] = [
  // the language itself
  /(?:^|\/)Kconfig[^/]*$/,
  // parts of the kernel release (scripts/setlocalversion)
  /^localversion[^/]*$/,
  // named configurations and fragments
  /^arch\/[^/]+\/configs\//,
  /^kernel\/configs\//,
  // the variables that make exports, and where an architecture says what its configurations are made of
  /^Makefile$/,
  /^scripts\/(?:Kbuild\.include|subarch\.include|Makefile\.(?:compiler|clang|defconf))$/,
  /^arch\/[^/]+\/(?:Makefile[^/]*|Kbuild\.platforms|[^/]+\/Platform)$/,
  // what probes run, and what that reads
  /^scripts\/[^/]+\.(?:sh|h)$/,
  /^arch\/[^/]+\/tools\/[^/]+\.sh$/,
  // which versions of programs the tree takes
  /^Documentation\/process\/changes\.rst$/,
  // the program whose rules the tree's Kconfig files follow
  /^scripts\/kconfig\/(?:[^/]+\.(?:c|h|l|y)|Makefile|merge_config\.sh)$/,
];

/** What certificates and keys are called: a configuration may name any of them. */
const keyPattern = /\.(?:pem|x509|crt|cer|der|key)$/i;

/** Of the same names, but never read for a configuration. */
const leftOut = /^(?:Documentation\/(?!process\/changes\.rst$)|scripts\/kconfig\/tests|tools\/)/;

/** @param path relative to the root of the tree */
export function isPackFile(path: string): boolean {
  return !leftOut.test(path) && patterns.some((pattern) => pattern.test(path));
}

/** Files that a configuration may name as keys: a pack tells that they are there. @param path as for `isPackFile` */
export function isKeyFile(path: string): boolean {
  return keyPattern.test(path);
}

/**
 * The files that Kconfig files name by a path of their own (`source "…"`, `$(srctree)/….sh`), whatever they are called.
 *
 * @param texts of all Kconfig files, in latin1
 */
export function namedFiles(texts: Iterable<string>): ReadonlySet<string> {
  const named = new Set<string>();
  for (const text of texts) {
    for (const [, path] of text.matchAll(/^[ \t]*source[ \t]+"([^"$\n]+)"/gm)) if (path) named.add(path);
    for (const [, path] of text.matchAll(/\$\(srctree\)\/([\w./-]+\.(?:sh|py|pl|awk))\b/g)) {
      if (path) named.add(path);
    }
  }
  return named;
}
