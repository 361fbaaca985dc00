import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';

export type KconfigCode =
  | 'kconfig/fragment-line'
  | 'kconfig/overridden'
  | 'kconfig/dialect'
  | 'kconfig/syntax'
  | 'kconfig/missing-file'
  | 'kconfig/recursive-source'
  | 'kconfig/repeated-source'
  | 'kconfig/open-block'
  | 'kconfig/wrong-end'
  | 'kconfig/too-deep'
  | 'kconfig/too-large'
  | 'kconfig/macro'
  | 'kconfig/error-if'
  | 'kconfig/warning-if'
  | 'kconfig/info'
  | 'kconfig/recursive-dependency'
  | 'kconfig/modules-twice'
  | 'kconfig/choice'
  | 'kconfig/transitional'
  | 'kconfig/entry'
  | 'kconfig/ignored-character'
  | 'kconfig/no-newline'
  | 'kconfig/open-string'
  | 'kconfig/doubtful-entry'
  | 'kconfig/config-line'
  | 'kconfig/config-value'
  | 'kconfig/config-again'
  | 'kconfig/config-unknown'
  | 'kconfig/no-config'
  | 'kconfig/other-architecture'
  | 'kconfig/newer-config';

const input = { severity: 'error', exit: 4 } as const;
const mistake = { severity: 'error', exit: 2 } as const;
const warning = { severity: 'warning', exit: 0 } as const;

/** What can be wrong with a tree's Kconfig files, a configuration or a request. */
export const kconfigCodes: Catalogue<KconfigCode> = catalogue({
  'kconfig/fragment-line': {
    ...mistake,
    summary: 'A line of a fragment is neither a value, nor `# CONFIG_X is not set`, nor a comment.',
  },
  'kconfig/overridden': {
    severity: 'note',
    exit: 0,
    summary: 'An option is asked for more than once, with different values.',
  },
  'kconfig/dialect': {
    ...warning,
    summary: 'The tree lacks the sources of its Kconfig program, which tell its rules.',
  },
  'kconfig/syntax': { ...input, summary: 'A statement of a Kconfig file is not of the language.' },
  'kconfig/missing-file': { ...input, summary: 'A Kconfig file that is read or sourced does not exist.' },
  'kconfig/recursive-source': {
    ...input,
    summary: 'A Kconfig file sources itself, directly or over others.',
  },
  'kconfig/repeated-source': {
    ...input,
    summary: 'A Kconfig file is sourced twice, which this tree forbids.',
  },
  'kconfig/open-block': { ...input, summary: 'A menu, choice or if block is not closed.' },
  'kconfig/wrong-end': {
    ...input,
    summary: 'A block is closed by the end of another one, or in another file.',
  },
  'kconfig/too-deep': { ...input, summary: 'Blocks, files or parentheses are nested without end.' },
  'kconfig/too-large': { ...input, summary: 'The Kconfig files are larger than any tree can be.' },
  'kconfig/macro': { ...input, summary: 'A macro cannot be expanded.' },
  'kconfig/error-if': { ...input, summary: 'The tree refuses this environment by `$(error-if …)`.' },
  'kconfig/warning-if': { ...warning, summary: 'The tree warns by `$(warning-if …)`.' },
  'kconfig/info': { severity: 'note', exit: 0, summary: 'The tree says something by `$(info …)`.' },
  'kconfig/recursive-dependency': { ...input, summary: 'The value of a symbol depends on itself.' },
  'kconfig/modules-twice': { ...input, summary: 'Two symbols are the one that stands for modules.' },
  'kconfig/choice': { ...input, summary: 'A choice, or a member of one, is not as it must be.' },
  'kconfig/transitional': {
    ...input,
    summary: 'A transitional symbol has more than a type and a help text.',
  },
  'kconfig/entry': { ...input, summary: 'An entry has what it must not have, or lacks what it must have.' },
  'kconfig/ignored-character': { ...warning, summary: 'A character means nothing in a Kconfig file.' },
  'kconfig/no-newline': { ...warning, summary: 'A Kconfig file does not end with a line feed.' },
  'kconfig/open-string': { ...warning, summary: 'A string is not closed on its line.' },
  'kconfig/doubtful-entry': { ...warning, summary: 'An entry is accepted, but is hardly meant so.' },
  'kconfig/config-line': { ...warning, summary: 'A line of a `.config` is neither a value nor a comment.' },
  'kconfig/config-value': {
    ...warning,
    summary: 'A value of a `.config` does not fit the type of its option.',
  },
  'kconfig/config-again': { ...warning, summary: 'A `.config` gives an option a value more than once.' },
  'kconfig/config-unknown': {
    severity: 'note',
    exit: 0,
    summary: 'A `.config` names an option that the tree does not have.',
  },
  'kconfig/no-config': { ...mistake, summary: 'A file that is named as a `.config` is none.' },
  'kconfig/other-architecture': {
    ...mistake,
    summary: 'A `.config` that is to be the base is one for another architecture.',
  },
  'kconfig/newer-config': {
    ...warning,
    summary: 'A `.config` that is the base was made for a newer kernel.',
  },
});
