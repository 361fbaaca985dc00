/**
 * What each text of a lock may look like. A lock may come from a stranger's pull request, and its texts go into URLs,
 * file names and shell scripts.
 */
import type { Grammar } from './grammar.ts';

type LockGrammar = Omit<Grammar, 'example'>;

export const digest: LockGrammar = {
  pattern: /^[0-9a-f]{64}$/u,
  rule: 'a SHA-256 digest has 64 hexadecimal digits in lower case',
};

/** Names in the table of origins. */
export const originName: LockGrammar = {
  pattern: /^[a-z][a-z0-9\-]{0,62}$/u,
  rule: 'an origin has a name of lower-case letters, digits and dashes',
};

/** An absolute URL (RFC 3986) without user, query and fragment: a place that paths can be appended to. */
export const originUrl: LockGrammar = {
  pattern:
    /^https?:\/\/[A-Za-z0-9](?:[A-Za-z0-9.\-]{0,251}[A-Za-z0-9])?(?::[0-9]{1,5})?(?:\/[A-Za-z0-9_~+:@][A-Za-z0-9._~+:@=\-]{0,254}){0,32}$/u,
  rule: 'an origin is an http or https URL without user, query and slash at its end',
};

export const suite: LockGrammar = {
  pattern: /^[a-z0-9][a-z0-9.\-]{0,62}(?:\/[a-z0-9][a-z0-9.\-]{0,62})?$/u,
  rule: 'a suite is called as in the archive: bookworm, bookworm-security',
};

export const fingerprint: LockGrammar = {
  pattern: /^(?:[0-9A-Fa-f]{40}|[0-9A-Fa-f]{64})$/u,
  rule: 'an OpenPGP fingerprint has 40 or 64 hexadecimal digits',
};

/** RFC 4648 section 4. */
export const base64: LockGrammar = {
  pattern: /^(?:[A-Za-z0-9+/]{4}){0,262143}(?:[A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=|[A-Za-z0-9+/]{4})$/u,
  rule: 'the content of a key is base64, of at most a megabyte',
};

/** A path below an origin, in the characters that occur in Debian's pool; no part begins with a dot. */
export const poolPath: LockGrammar = {
  pattern: /^(?=.{1,512}$)[A-Za-z0-9][A-Za-z0-9._+~:%\-]*(?:\/[A-Za-z0-9][A-Za-z0-9._+~:%\-]*)*$/u,
  rule: 'a path in an archive is relative and plain, and no part of it begins with a dot',
};

/** Debian Policy 5.6.7. */
export const packageName: LockGrammar = {
  pattern: /^[a-z0-9][a-z0-9+.\-]{1,127}$/u,
  rule: 'a package name has lower-case letters, digits, and + - .',
};

/** Debian Policy 5.6.12. */
export const packageVersion: LockGrammar = {
  pattern: /^(?:[0-9]{1,10}:)?[0-9][A-Za-z0-9.+~:\-]{0,127}$/u,
  rule: 'a package version begins with a digit and has letters, digits and . + ~ : -',
};

export const packageArchitecture: LockGrammar = {
  pattern: /^[a-z0-9][a-z0-9\-]{0,31}$/u,
  rule: 'an architecture is called as in Debian: amd64, all',
};

export const program: LockGrammar = {
  pattern: /^[a-z][a-z0-9+._\-]{0,31}$/u,
  rule: 'a program is called as on the command line',
};

/** The digit keeps words out that mean something to a script, such as the end of a here-document. */
export const programVersion: LockGrammar = {
  pattern: /^(?=.*[0-9])[\x21-\x7e](?:[\x20-\x7e]{0,198}[\x21-\x7e])?$/u,
  rule: 'a version is one line of printable ASCII characters with a digit in it',
};

/** `make kernelversion`: VERSION.PATCHLEVEL.SUBLEVEL and EXTRAVERSION. */
export const exactVersion: LockGrammar = {
  pattern: /^[0-9]{1,3}(?:\.[0-9]{1,4}){1,2}[A-Za-z0-9._+~\-]{0,50}$/u,
  rule: 'a kernel version is numbers with dots between them, and what the tree appends',
};

export const kernelRelease: LockGrammar = {
  pattern: /^[0-9][A-Za-z0-9._+~\-]{0,63}$/u,
  rule: 'a kernel release begins with a digit and has at most 64 letters, digits and . _ + ~ -',
};

export const versionStamp: LockGrammar = {
  pattern: /^#[\x20-\x7e]{0,63}$/u,
  rule: 'a version string begins with `#` and has at most 64 printable ASCII characters',
};

/** A value as it stands behind `CONFIG_X=`. */
export const optionValue: LockGrammar = {
  pattern:
    /^(?:[ymn]|-?(?:0|[1-9][0-9]{0,19})|0[xX][0-9a-fA-F]{1,40}|"(?:[^"\\\p{Cs}\u0000-\u0008\n-\u001f\u007f]|\\["\\]){0,4096}")$/u,
  rule: 'a value is y, m, n, a number, or a string in quotes',
};

/** A name that the kernel's Makefile exports. */
export const variable: LockGrammar = {
  pattern: /^[A-Za-z_][A-Za-z0-9_]{0,63}$/u,
  rule: 'a variable has a name of letters, digits and underscores',
};

/** Bytes, one per character: what stands in a Kconfig file behind `$(shell,` fits on one line. */
export const probe: LockGrammar = {
  pattern: /^[\t\x20-\x7e\x80-\xff]{1,65536}$/u,
  rule: 'a probe is a command on one line, a character for each of its bytes',
};

/** The kernel's program reads 4095 bytes, and makes blanks of line feeds (scripts/kconfig/preprocess.c). */
export const probeAnswer: LockGrammar = {
  pattern: /^[\t\x20-\x7e\x80-\xff]{0,4095}$/u,
  rule: 'an answer is one line of at most 4095 bytes, a character for each of them',
};
