import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';

export type KconfigCode = 'kconfig/fragment-line' | 'kconfig/overridden';

/** What can be wrong with a configuration or a request. */
export const kconfigCodes: Catalogue<KconfigCode> = catalogue({
  'kconfig/fragment-line': {
    severity: 'error',
    exit: 2,
    summary: 'A line of a fragment is neither a value, nor `# CONFIG_X is not set`, nor a comment.',
  },
  'kconfig/overridden': {
    severity: 'note',
    exit: 0,
    summary: 'An option is asked for more than once, with different values.',
  },
});
