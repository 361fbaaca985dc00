import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type CommandCode =
  | 'command/no-spec'
  | 'command/no-record'
  | 'command/file-missing'
  | 'command/file-outside'
  | 'command/file-unsuitable'
  | 'command/file-changed'
  | 'command/version-differs'
  | 'command/tree-times'
  | 'command/answers-changed'
  | 'command/request-not-kept'
  | 'command/tree-request-not-kept'
  | 'command/tree-fragment-line'
  | 'command/no-fragment'
  | 'command/running-config'
  | 'command/key-file-missing'
  | 'command/key-made-by-build'
  | 'command/not-reproducible'
  | 'command/version-string-cut'
  | 'command/no-output'
  | 'command/not-pinned'
  | 'command/pinned-afresh'
  | 'command/kernel-differs'
  | 'command/build-incomplete'
  | 'command/system-refused'
  | 'command/interrupted'
  | 'command/internal-error'
  | 'command/no-base'
  | 'command/answers-assumed'
  | 'command/probe-unanswered'
  | 'command/probes-endless'
  | 'command/probes-unfit'
  | 'command/probes-of-other-kernel'
  | 'command/no-architecture'
  | 'command/no-compiler'
  | 'command/rust-lost'
  | 'command/tool-below-listed'
  | 'command/tool-known-broken'
  | 'command/file-taken'
  | 'command/tool-too-new'
  | 'command/tool-too-old'
  | 'command/package-missing'
  | 'command/packages-unsettled'
  | 'command/patches-untried'
  | 'command/patch-twice'
  | 'command/bad-answer'
  | 'command/spec-exists'
  | 'command/kept-incomplete'
  | 'command/kept-name-taken'
  | 'command/no-running-config';

/** What commands find where the rooms meet, and how one can end that no command foresaw. */
export const commandCodes: Catalogue<CommandCode> = catalogue({
  'command/no-spec': { severity: 'error', exit: exitCodes.usage, summary: 'the spec file cannot be read' },
  'command/no-record': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'the folder of a build cannot be read',
  },
  'command/file-missing': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'a file that the spec names is not there',
  },
  'command/file-outside': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: "a file that the spec names lies outside of the spec's folder",
  },
  'command/file-unsuitable': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'a file that the spec names is no plain file, or far too large',
  },
  'command/file-changed': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'a file is no longer the one that was pinned',
  },
  'command/version-differs': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'the source is another kernel than the spec says',
  },
  'command/tree-times': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'the digest of a tree hangs on the times of its files, for want of an epoch in the spec',
  },
  'command/answers-changed': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'the environment gives other answers than those in the lock',
  },
  'command/request-not-kept': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'an option that was asked for does not have the value that was asked for',
  },
  'command/tree-request-not-kept': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: "an option that one of the tree's own fragments asks for does not have that value",
  },
  'command/tree-fragment-line': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: "a line of one of the tree's own fragments asks for nothing",
  },
  'command/no-fragment': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'a tree does not have the fragment that a spec names',
  },
  'command/running-config': {
    severity: 'note',
    exit: exitCodes.ok,
    summary: 'a configuration begins with that of the machine',
  },
  'command/key-file-missing': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'the configuration names a key file that the source does not have',
  },
  'command/key-made-by-build': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'the build makes a signing key of its own, so that no two builds are equal',
  },
  'command/not-reproducible': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'an option makes each build different',
  },
  'command/version-string-cut': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'the version string is longer than the kernel can hold',
  },
  'command/no-output': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'an output is asked for that the configuration does not have',
  },
  'command/not-pinned': { severity: 'note', exit: exitCodes.ok, summary: 'the spec has no lock yet' },
  'command/pinned-afresh': {
    severity: 'note',
    exit: exitCodes.ok,
    summary: 'the spec had no complete lock and was pinned on the way',
  },
  'command/kernel-differs': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'the image says another release or build stamp than was computed before the build',
  },
  'command/build-incomplete': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'the build ended well but an artefact is missing or differs from its checksum',
  },
  'command/system-refused': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'the system refused something that every program needs: disk space, rights, open files',
  },
  'command/interrupted': {
    severity: 'error',
    exit: exitCodes.interrupted,
    summary: 'Ctrl-C, or a signal to end',
  },
  'command/internal-error': {
    severity: 'error',
    exit: exitCodes.bug,
    summary: 'a mistake in Quern itself',
  },
  'command/no-base': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'The configuration to start from is neither a file nor one that the tree has.',
  },
  'command/answers-assumed': {
    severity: 'note',
    exit: exitCodes.ok,
    summary: 'A configuration was worked out with the answers of the default environment.',
  },
  'command/probe-unanswered': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'An environment was asked what a tree wants to know, and did not answer all of it.',
  },
  'command/probes-endless': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The questions of a tree to its environment come to no end.',
  },
  'command/bad-answer': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A first spec cannot be made of what was answered.',
  },
  'command/spec-exists': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A file that is to be written for a first spec is there already.',
  },
  'command/kept-incomplete': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A folder with everything that a build takes lacks some of it.',
  },
  'command/kept-name-taken': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A file that a spec names has the name of a file that every kept folder has.',
  },
  'command/no-running-config': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'A machine does not tell how its kernel is configured.',
  },
  'command/probes-unfit': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A file of answers is one for another architecture.',
  },
  'command/probes-of-other-kernel': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'A file of answers was written for another version of the kernel.',
  },
  'command/no-compiler': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'No kernel is built for the architecture: the configuration is all that can be worked out.',
  },
  'command/rust-lost': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'The base has Rust code, and the environment has no compiler that is new enough for it.',
  },
  'command/tool-below-listed': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'A tool of the environment is older than the tree lists, which stops nothing by itself.',
  },
  'command/file-taken': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A file that is to be written is there already, or its folder is not.',
  },
  'command/tool-known-broken': {
    severity: 'note',
    exit: exitCodes.ok,
    summary:
      'The tree says of a tool of the environment that something in it is broken, and does without that.',
  },
  'command/tool-too-new': {
    severity: 'warning',
    exit: exitCodes.ok,
    summary: 'A tool of the environment is newer than the tree expects, which may or may not work.',
  },
  'command/tool-too-old': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A tool of the environment is older than the tree takes.',
  },
  'command/package-missing': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The environment of a lock lacks a package that the configuration takes.',
  },
  'command/packages-unsettled': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'Configuration and packages of the environment never come to go with each other.',
  },
  'command/no-architecture': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A tree does not know the architecture.',
  },
  'command/patches-untried': {
    severity: 'note',
    exit: exitCodes.ok,
    summary: 'Patches touch files that a configuration does not hang on, and were not tried there.',
  },
  'command/patch-twice': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'Two items of a spec, or two lines of a series, name the same patch.',
  },
});
