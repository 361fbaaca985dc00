/** What the system says of files and of itself (errno of POSIX.1-2017, `<errno.h>`), in words for people. */

/** Of a path: that somebody has named it wrongly, or that it is a mistake of ours. */
const ofPaths: ReadonlyMap<string, string> = new Map([
  ['ENOENT', 'there is no such file or folder'],
  ['EISDIR', 'it is a folder'],
  ['ENOTDIR', 'a part of its path is a file'],
  ['EEXIST', 'something else has that name'],
  ['ELOOP', 'its links lead in a circle'],
  ['ENAMETOOLONG', 'its name is too long'],
]);

/** What the machine can refuse any program. */
const refusals: ReadonlyMap<string, string> = new Map([
  ['ENOSPC', 'no space is left on the disk'],
  ['EDQUOT', 'your share of the disk is used up'],
  ['EROFS', 'the file system may only be read'],
  ['EACCES', 'you lack the right'],
  ['EPERM', 'the system does not allow it'],
  ['EMFILE', 'too many files are open'],
  ['ENFILE', 'too many files are open on this machine'],
  ['ENOMEM', 'there is no memory left'],
  ['EIO', 'the device failed'],
]);

/** What the machine refuses, whatever was asked for; `undefined` for all other errors. */
export function refusalWords(error: unknown): string | undefined {
  return refusals.get(codeOf(error) ?? '');
}

/** What an error says: in these words where it comes from the system, otherwise in its own. */
export function wordsOf(error: unknown): string {
  const code = codeOf(error) ?? '';
  const own = error instanceof Error ? error.message : String(error);
  return ofPaths.get(code) ?? refusals.get(code) ?? own;
}

function codeOf(error: unknown): string | undefined {
  return error instanceof Error && 'syscall' in error && 'code' in error ? String(error.code) : undefined;
}
