import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type PatchCode =
  | 'patch/malformed'
  | 'patch/does-not-apply'
  | 'patch/no-file'
  | 'patch/file-exists'
  | 'patch/unreadable-change';

const { input } = exitCodes;

/** What can be wrong with a patch, alone or against the files that it meets. */
export const patchCodes: Catalogue<PatchCode> = catalogue({
  'patch/malformed': {
    severity: 'error',
    exit: input,
    summary: 'A patch is not put together as a unified diff is, or is cut off.',
  },
  'patch/does-not-apply': {
    severity: 'error',
    exit: input,
    summary: 'A hunk of a patch fits nowhere in the file that it is for.',
  },
  'patch/no-file': { severity: 'error', exit: input, summary: 'A patch is for a file that is not there.' },
  'patch/file-exists': {
    severity: 'error',
    exit: input,
    summary: 'A patch makes a file that is there already.',
  },
  'patch/unreadable-change': {
    severity: 'error',
    exit: input,
    summary:
      'A patch changes a file in a way that cannot be followed: as binary data, or out of a file not known.',
  },
});
