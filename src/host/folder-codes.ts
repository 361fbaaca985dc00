import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type FolderCode = 'host/output-taken' | 'host/output-not-writable' | 'host/output-is-input';

/** What can go wrong with an output. */
export const folderCodes: Catalogue<FolderCode> = catalogue({
  'host/output-taken': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'the output folder holds something that is not ours',
  },
  'host/output-not-writable': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'a folder or file cannot be written',
  },
  'host/output-is-input': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'an output would be written over what it is made of',
  },
});
