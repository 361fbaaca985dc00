import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';

export type SpecCode =
  | 'spec/too-large'
  | 'spec/not-text'
  | 'spec/yaml'
  | 'spec/yaml-feature'
  | 'spec/empty'
  | 'spec/documents'
  | 'spec/not-a-mapping'
  | 'spec/duplicate-key'
  | 'spec/unknown-key'
  | 'spec/missing-key'
  | 'spec/wrong-type'
  | 'spec/needs-quotes'
  | 'spec/bad-value'
  | 'spec/option-name'
  | 'spec/option-value'
  | 'spec/option-spelling'
  | 'spec/version-mismatch'
  | 'spec/more-errors'
  | 'spec/lock-json'
  | 'spec/lock-version'
  | 'spec/lock-content'
  | 'spec/lock-differs';

/** What can be wrong with a spec or its lock. */
export const specCodes: Catalogue<SpecCode> = catalogue({
  'spec/too-large': { severity: 'error', exit: 2, summary: 'The spec is larger than any spec can be.' },
  'spec/not-text': { severity: 'error', exit: 2, summary: 'The spec is not UTF-8 text.' },
  'spec/yaml': { severity: 'error', exit: 2, summary: 'The spec is not YAML.' },
  'spec/yaml-feature': {
    severity: 'error',
    exit: 2,
    summary:
      'The spec uses a part of YAML that specs do without: aliases, anchors, tags, keys that are not words.',
  },
  'spec/empty': { severity: 'error', exit: 2, summary: 'There is nothing in the spec.' },
  'spec/documents': { severity: 'error', exit: 2, summary: 'The spec holds more than one YAML document.' },
  'spec/not-a-mapping': {
    severity: 'error',
    exit: 2,
    summary: 'The spec is not a mapping of keys to values.',
  },
  'spec/duplicate-key': { severity: 'error', exit: 2, summary: 'A key stands twice in one mapping.' },
  'spec/unknown-key': { severity: 'error', exit: 2, summary: 'A key that no spec has at this place.' },
  'spec/missing-key': { severity: 'error', exit: 2, summary: 'A key that every spec has is not there.' },
  'spec/wrong-type': { severity: 'error', exit: 2, summary: 'A list where a text belongs, and the like.' },
  'spec/needs-quotes': {
    severity: 'error',
    exit: 2,
    summary: 'A text that YAML reads as a number, a truth value or nothing unless it stands in quotes.',
  },
  'spec/bad-value': { severity: 'error', exit: 2, summary: 'A value that its key does not allow.' },
  'spec/option-name': { severity: 'error', exit: 2, summary: 'A key of `config.set` cannot be an option.' },
  'spec/option-value': {
    severity: 'error',
    exit: 2,
    summary: 'A value of `config.set` that no option can have.',
  },
  'spec/option-spelling': {
    severity: 'warning',
    exit: 0,
    summary: 'A word such as `yes` in `config.set`, which is taken as a string.',
  },
  'spec/version-mismatch': {
    severity: 'error',
    exit: 2,
    summary: 'The source package is of another series than the version.',
  },
  'spec/more-errors': { severity: 'note', exit: 0, summary: 'There are too many errors to list them all.' },
  'spec/lock-json': { severity: 'error', exit: 4, summary: 'The lock is not JSON.' },
  'spec/lock-version': {
    severity: 'error',
    exit: 4,
    summary: 'The lock was written by another version of Quern.',
  },
  'spec/lock-content': {
    severity: 'error',
    exit: 4,
    summary: 'The lock holds something that no lock may hold.',
  },
  'spec/lock-differs': { severity: 'error', exit: 2, summary: 'The spec was changed after it was pinned.' },
});
