import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type PatchCode =
  | 'patch/malformed'
  | 'patch/bad-series'
  | 'patch/does-not-apply'
  | 'patch/needs-fuzz'
  | 'patch/fuzz'
  | 'patch/offset'
  | 'patch/already-applied'
  | 'patch/reversed'
  | 'patch/line-ends'
  | 'patch/carriage-returns'
  | 'patch/wrong-strip'
  | 'patch/no-file'
  | 'patch/file-gone'
  | 'patch/file-exists'
  | 'patch/unreadable-change'
  | 'patch/too-costly'
  | 'patch/options';

const { input, ok } = exitCodes;

/** What can be wrong with a patch, alone or against the files that it meets, and what else is told of it. */
export const patchCodes: Catalogue<PatchCode> = catalogue({
  'patch/malformed': {
    severity: 'error',
    exit: input,
    summary: 'A patch is not put together as a unified diff is, or is cut off.',
  },
  'patch/bad-series': {
    severity: 'error',
    exit: input,
    summary: 'A line of a quilt series cannot be followed.',
  },
  'patch/does-not-apply': {
    severity: 'error',
    exit: input,
    summary: 'A hunk of a patch fits nowhere in the file that it is for.',
  },
  'patch/needs-fuzz': {
    severity: 'error',
    exit: input,
    summary: 'A hunk of a patch fits only where lines around it may differ, which the spec does not allow.',
  },
  'patch/fuzz': {
    severity: 'warning',
    exit: ok,
    summary: 'A hunk was fitted although lines around it differ, since the spec allows it.',
  },
  'patch/offset': {
    severity: 'note',
    exit: ok,
    summary: 'Hunks of patches stand at other lines than they say.',
  },
  'patch/already-applied': {
    severity: 'error',
    exit: input,
    summary: 'What a patch does is in the tree already.',
  },
  'patch/reversed': {
    severity: 'error',
    exit: input,
    summary: 'A patch was made the wrong way round: from the new files to the old.',
  },
  'patch/line-ends': {
    severity: 'error',
    exit: input,
    summary: 'Patch and file have different line ends.',
  },
  'patch/carriage-returns': {
    severity: 'note',
    exit: ok,
    summary: 'The line ends of a patch have carriage returns, which were left out.',
  },
  'patch/wrong-strip': {
    severity: 'error',
    exit: input,
    summary: 'The names in a patch have more or fewer folders in front than are left out.',
  },
  'patch/no-file': { severity: 'error', exit: input, summary: 'A patch is for a file that is not there.' },
  'patch/file-gone': {
    severity: 'error',
    exit: input,
    summary: 'A patch is for a file that an earlier one has removed or renamed.',
  },
  'patch/file-exists': {
    severity: 'error',
    exit: input,
    summary: 'A patch makes a file that is there already.',
  },
  'patch/unreadable-change': {
    severity: 'error',
    exit: input,
    summary:
      'A patch changes a file in a way that cannot be followed: binary data left out, links, submodules.',
  },
  'patch/too-costly': {
    severity: 'error',
    exit: input,
    summary: 'Fitting a patch takes more comparisons than any patch that people write.',
  },
  'patch/options': {
    severity: 'note',
    exit: ok,
    summary: 'Patches add options to Kconfig files, or take some out.',
  },
});
