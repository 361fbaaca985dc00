/**
 * How a tar is made of a commit, so that any machine's git makes the same one, without Quern as well:
 * `git archive` with these settings, where these attributes have the last word.
 */
/** For `info/attributes` (gitattributes(5)): each file is what it is in the repository. */
export const plainAttributes =
  '* -text -eol -ident -filter -working-tree-encoding -export-ignore -export-subst';

/** For the setting `tar.umask`: what it is where nobody has said anything, and in the tarballs of releases. */
export const archiveUmask = '0002';
