import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { fetchCodes } from './fetch-codes.ts';

/** What the system says about the store, as a failure that says what to do. Bugs stay what they are. */
export function storeFailure(folder: string, error: unknown): unknown {
  const code = error instanceof Error && 'code' in error ? String(error.code) : '';
  if (!/^E[A-Z]+$/.test(code)) return error;
  const where = quoted(folder, 120);
  const notes = [`The system says: ${error instanceof Error ? error.message : code}.`];
  const help = 'Name another folder in the environment variable QUERN_STORE';
  switch (code) {
    case 'ENOSPC':
    case 'EDQUOT':
      return new Failure(
        fetchCodes.report('host/store-full', {
          message: `there is no space left for the store at ${where}`,
          notes,
          help: `Make room there (what is in the store can be fetched again), or: ${help}.`,
        }),
        { cause: error },
      );
    case 'EACCES':
    case 'EPERM':
    case 'EROFS':
      return new Failure(
        fetchCodes.report('host/store-denied', {
          message: `the store at ${where} may not be read or written`,
          notes,
          help: `${help}, or give yourself the right to this one.`,
        }),
        { cause: error },
      );
    default:
      return new Failure(
        fetchCodes.report('host/store-failed', {
          message: `the store at ${where} cannot be used`,
          notes,
          help: `${help}.`,
        }),
        { cause: error },
      );
  }
}
