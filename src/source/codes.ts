import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type SourceCode =
  | 'source/not-signed'
  | 'source/bad-signature-form'
  | 'source/outside-signature'
  | 'source/wrong-key'
  | 'source/altered'
  | 'source/signature-refused'
  | 'source/wrong-stream'
  | 'source/key-expired'
  | 'source/key-revoked'
  | 'source/weak-signature'
  | 'source/key-expired-since'
  | 'source/no-signature'
  | 'source/bad-keyring'
  | 'source/no-key'
  | 'source/key-unreachable'
  | 'source/sums-differ'
  | 'source/sums-missing'
  | 'source/unreachable'
  | 'source/wrong-tar'
  | 'source/no-commit'
  | 'source/tag-differs'
  | 'source/unsound-commit'
  | 'source/index-unreachable'
  | 'source/release-gone'
  | 'source/wrong-suite'
  | 'source/bad-index'
  | 'source/index-missing'
  | 'source/index-old'
  | 'source/not-the-snapshot'
  | 'source/no-debian-source'
  | 'source/no-debian-config'
  | 'source/version-differs'
  | 'source/local-file'
  | 'source/local-changed'
  | 'source/not-an-archive'
  | 'source/special-file'
  | 'source/unread-compression'
  | 'source/not-a-kernel'
  | 'source/too-large'
  | 'source/unsafe-archive'
  | 'source/case-folded'
  | 'source/pack-differs'
  | 'source/probes-failed';

const { input, missing, usage } = exitCodes;

/** What can go wrong with where a kernel's source, and the packages to build it with, come from. */
export const sourceCodes: Catalogue<SourceCode> = catalogue({
  'source/not-signed': { severity: 'error', exit: input, summary: 'A text that must be signed is not.' },
  'source/bad-signature-form': {
    severity: 'error',
    exit: input,
    summary: 'A signature, or a text that is signed in place, is not put together as one.',
  },
  'source/outside-signature': {
    severity: 'error',
    exit: input,
    summary: 'A signed index has text that the signature does not cover.',
  },
  'source/wrong-key': {
    severity: 'error',
    exit: input,
    summary: 'An index or a source is signed, but by none of the keys that are accepted for it.',
  },
  'source/altered': {
    severity: 'error',
    exit: input,
    summary: 'An index or a source was changed after it was signed.',
  },
  'source/signature-refused': {
    severity: 'error',
    exit: input,
    summary:
      'A signature by an accepted key does not count: it is expired, from the future, or by a key that may not sign.',
  },
  'source/wrong-stream': {
    severity: 'error',
    exit: input,
    summary: 'A signature is over a compressed file, where it should be over the tar inside.',
  },
  'source/key-expired': {
    severity: 'error',
    exit: input,
    summary: 'A signature is by an accepted key that has expired.',
  },
  'source/key-revoked': {
    severity: 'error',
    exit: input,
    summary: 'A signature is by an accepted key that has been revoked.',
  },
  'source/weak-signature': {
    severity: 'error',
    exit: input,
    summary: 'A signature is by a digest or a key that can be forged.',
  },
  'source/key-expired-since': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'The key that a source is signed with has expired after it signed.',
  },
  'source/no-signature': {
    severity: 'error',
    exit: input,
    summary: 'There is no signature for a source that should have one.',
  },
  'source/bad-keyring': {
    severity: 'error',
    exit: input,
    summary: 'A file that should hold public keys holds none, or private ones.',
  },
  'source/no-key': {
    severity: 'error',
    exit: input,
    summary: 'The key of a signer is not where the spec says that keys are.',
  },
  'source/key-unreachable': {
    severity: 'error',
    exit: missing,
    summary: 'The key of a signer cannot be fetched from the directory of its domain.',
  },
  'source/sums-differ': {
    severity: 'error',
    exit: input,
    summary: 'A source has not the digest that the signed list of digests beside it says.',
  },
  'source/sums-missing': {
    severity: 'error',
    exit: input,
    summary: 'A signed list of digests is not there, or says nothing of the source.',
  },
  'source/unreachable': {
    severity: 'error',
    exit: missing,
    summary: 'What the source is verified with cannot be fetched.',
  },
  'source/no-commit': {
    severity: 'error',
    exit: usage,
    summary: 'A git repository does not have the commit or the tag that the spec names.',
  },
  'source/tag-differs': {
    severity: 'error',
    exit: input,
    summary: 'A tag leads to another commit than the spec or the lock says.',
  },
  'source/unsound-commit': {
    severity: 'error',
    exit: input,
    summary: 'What a git repository hands out is damaged, or not put together as git has it.',
  },
  'source/wrong-tar': {
    severity: 'error',
    exit: input,
    summary: 'A source has neither as it is nor uncompressed the digest that it should have.',
  },
  'source/index-unreachable': {
    severity: 'error',
    exit: missing,
    summary: 'The signed index of an archive cannot be fetched.',
  },
  'source/release-gone': {
    severity: 'error',
    exit: missing,
    summary: 'An archive does not have the release that was asked for, or has it no longer.',
  },
  'source/wrong-suite': {
    severity: 'error',
    exit: input,
    summary: 'An archive hands out the index of another suite than the one asked for.',
  },
  'source/bad-index': { severity: 'error', exit: input, summary: 'An index cannot be read.' },
  'source/index-missing': {
    severity: 'error',
    exit: input,
    summary: 'A signed index lists no package index for the architecture.',
  },
  'source/index-old': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'A signed index has passed the date that it says it is valid until.',
  },
  'source/not-the-snapshot': {
    severity: 'error',
    exit: usage,
    summary: 'The archive as it was at the time that the spec names is not to be had.',
  },
  'source/no-debian-source': {
    severity: 'error',
    exit: usage,
    summary: 'The Debian package that the kernel source should come from is not in the release.',
  },
  'source/no-debian-config': {
    severity: 'error',
    exit: usage,
    summary:
      'A release of Debian, or a package of it, does not have the configuration that a spec begins with.',
  },
  'source/version-differs': {
    severity: 'error',
    exit: usage,
    summary: 'The archive has another version of the kernel source than the spec asks for.',
  },
  'source/local-file': {
    severity: 'error',
    exit: usage,
    summary: 'A file or folder on this machine that the source should come from cannot be read.',
  },
  'source/local-changed': {
    severity: 'error',
    exit: input,
    summary: 'A file or folder on this machine is no longer what was pinned.',
  },
  'source/not-an-archive': {
    severity: 'error',
    exit: input,
    summary: 'A file that should be a source archive is none that can be unpacked.',
  },
  'source/special-file': {
    severity: 'error',
    exit: input,
    summary: 'A source tree has a device, a socket or a pipe, which no source archive can hold.',
  },
  'source/unread-compression': {
    severity: 'error',
    exit: usage,
    summary: 'A source archive is compressed in a way that this machine cannot read.',
  },
  'source/not-a-kernel': {
    severity: 'error',
    exit: input,
    summary: 'A source has no Makefile or no Kconfig where a kernel has them.',
  },
  'source/too-large': {
    severity: 'error',
    exit: input,
    summary: 'A source has more Kconfig files, or larger ones, than any kernel.',
  },
  'source/unsafe-archive': {
    severity: 'error',
    exit: input,
    summary: 'A source archive has no end, or has what would leave its folder when it is unpacked.',
  },
  'source/case-folded': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'A source tree lies where files whose names differ in case alone become one.',
  },
  'source/pack-differs': {
    severity: 'error',
    exit: input,
    summary: 'The Kconfig files of a source are not those that the lock was made with.',
  },
  'source/probes-failed': {
    severity: 'error',
    exit: missing,
    summary: 'This machine cannot run the commands that the Kconfig files of a tree ask it to.',
  },
});
