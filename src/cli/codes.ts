import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type CliCode =
  | 'cli/no-command'
  | 'cli/unknown-command'
  | 'cli/unknown-option'
  | 'cli/missing-value'
  | 'cli/unwanted-value'
  | 'cli/repeated-option'
  | 'cli/bad-value'
  | 'cli/missing-option'
  | 'cli/missing-argument'
  | 'cli/unexpected-argument'
  | 'cli/conflicting-options';

const usage = { severity: 'error', exit: exitCodes.usage } as const;

/** What can be wrong with a command line. */
export const cliCodes: Catalogue<CliCode> = catalogue({
  'cli/no-command': { ...usage, summary: 'The command line names no command.' },
  'cli/unknown-command': { ...usage, summary: 'The command line names a command that does not exist.' },
  'cli/unknown-option': { ...usage, summary: 'The command has no such option.' },
  'cli/missing-value': { ...usage, summary: 'An option that takes a value stands without one.' },
  'cli/unwanted-value': { ...usage, summary: 'An option that takes no value was given one.' },
  'cli/repeated-option': { ...usage, summary: 'An option that takes one value was given twice.' },
  'cli/bad-value': { ...usage, summary: 'The value of an option is none that it takes.' },
  'cli/missing-option': { ...usage, summary: 'An option that the command needs is not there.' },
  'cli/missing-argument': { ...usage, summary: 'An argument that the command needs is not there.' },
  'cli/unexpected-argument': { ...usage, summary: 'There are more arguments than the command takes.' },
  'cli/conflicting-options': { ...usage, summary: 'Two options exclude each other.' },
});
