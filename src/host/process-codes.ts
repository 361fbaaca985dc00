import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type ProcessCode = 'host/program-missing' | 'host/program-not-started' | 'host/folder-missing';

/** What can go wrong before a program of this machine runs at all. */
export const processCodes: Catalogue<ProcessCode> = catalogue({
  'host/program-missing': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'A program that is needed is not installed, or not in PATH.',
  },
  'host/program-not-started': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'A program is there, but the system refuses to start it.',
  },
  'host/folder-missing': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'The folder that a program is to run in does not exist.',
  },
});
