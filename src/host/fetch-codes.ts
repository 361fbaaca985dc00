import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type FetchCode =
  | 'host/store-full'
  | 'host/store-denied'
  | 'host/store-failed'
  | 'host/lent-damaged'
  | 'host/wrong-digest'
  | 'host/wrong-size'
  | 'host/not-the-file'
  | 'host/gone'
  | 'host/download-failed'
  | 'host/forbidden-target'
  | 'host/bad-mirror'
  | 'host/bad-setting';

/** What can go wrong with files that come from elsewhere and with the store that they are kept in. */
export const fetchCodes: Catalogue<FetchCode> = catalogue({
  'host/store-full': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'There is no space left for the store.',
  },
  'host/store-denied': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'The store may not be read or written.',
  },
  'host/store-failed': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'The store cannot be read or written.',
  },
  'host/lent-damaged': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A file of a folder with everything that a build takes is not what it was.',
  },
  'host/wrong-digest': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A file has not the digest that it was pinned with.',
  },
  'host/wrong-size': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A file has not the size that it was pinned with.',
  },
  'host/not-the-file': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A server hands out a web page in the place of a file.',
  },
  'host/gone': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'A file has left all places that it could be fetched from.',
  },
  'host/download-failed': {
    severity: 'error',
    exit: exitCodes.missing,
    summary: 'A file cannot be fetched.',
  },
  'host/forbidden-target': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A URL leads to this machine itself or its own link, or from https to http.',
  },
  'host/bad-mirror': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'QUERN_MIRRORS cannot be read.',
  },
  'host/bad-setting': {
    severity: 'error',
    exit: exitCodes.usage,
    summary: 'A setting of this machine, of its proxy, authorities or logins, cannot be used.',
  },
});
