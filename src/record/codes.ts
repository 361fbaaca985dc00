import { catalogue, type Catalogue } from '../diagnostics/catalogue.ts';
import { exitCodes } from '../diagnostics/diagnostic.ts';

export type RecordCode =
  | 'record/no-checksums'
  | 'record/malformed-checksums'
  | 'record/path-outside'
  | 'record/duplicate-name'
  | 'record/no-provenance'
  | 'record/malformed-provenance'
  | 'record/weak-digest'
  | 'record/disagree'
  | 'record/not-a-subject'
  | 'record/not-in-checksums'
  | 'record/missing-file'
  | 'record/altered'
  | 'record/missing-byproduct'
  | 'record/unlisted-file';

/** What reading and checking a record can report. */
export const recordCodes: Catalogue<RecordCode> = catalogue({
  'record/no-checksums': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The folder has no SHA256SUMS, or it lists nothing.',
  },
  'record/malformed-checksums': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A line of SHA256SUMS is not of the form `DIGEST  NAME`.',
  },
  'record/path-outside': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A name in the record points outside of its folder.',
  },
  'record/duplicate-name': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The same name stands twice in SHA256SUMS or among the subjects of the provenance.',
  },
  'record/no-provenance': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'The folder has no provenance.json.',
  },
  'record/malformed-provenance': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'provenance.json breaks a rule of in-toto Statement v1 or SLSA Provenance v1.',
  },
  'record/weak-digest': {
    severity: 'error',
    exit: exitCodes.input,
    summary: 'A subject of the provenance has no SHA-256 digest; no other kind is accepted.',
  },
  'record/disagree': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'SHA256SUMS and provenance.json give different digests for the same artefact.',
  },
  'record/not-a-subject': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'An artefact listed in SHA256SUMS is no subject of the provenance.',
  },
  'record/not-in-checksums': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'A subject of the provenance is not listed in SHA256SUMS.',
  },
  'record/missing-file': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'An artefact that the record lists is not in the folder.',
  },
  'record/altered': {
    severity: 'error',
    exit: exitCodes.no,
    summary: 'A file is not the one that the record speaks of: its SHA-256 differs.',
  },
  'record/missing-byproduct': {
    severity: 'warning',
    exit: exitCodes.no,
    summary: 'A byproduct that the provenance lists (a log, a file of the kit) is not in the folder.',
  },
  'record/unlisted-file': {
    severity: 'warning',
    exit: exitCodes.no,
    summary: 'A file lies in the folder that no part of the record speaks of.',
  },
});
