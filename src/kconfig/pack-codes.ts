import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type PackCode =
  'kconfig/bad-pack' | 'kconfig/pack-version' | 'kconfig/no-probe-file' | 'kconfig/bad-probe-file';

/** What can be wrong with the data that a configuration is worked out from, when it comes from outside. */
export const packCodes: Catalogue<PackCode> = catalogue({
  'kconfig/bad-pack': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A Kconfig pack is damaged, cut off, or put together as none is.',
  },
  'kconfig/pack-version': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A Kconfig pack was written by another version of Quern.',
  },
  'kconfig/no-probe-file': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A file of probes is named that is not there.',
  },
  'kconfig/bad-probe-file': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A file of probes and their answers cannot be read.',
  },
});
