/** The names of what a build leaves in its folder. */

/** Files of the record: written about the artefacts, and therefore not among them. */
export const recordFiles = {
  checksums: 'SHA256SUMS',
  provenance: 'provenance.json',
  bom: 'bom.spdx.json',
  summary: 'summary.md',
  buildLog: 'make.log.gz',
  /** The kit that built it: a folder. */
  kit: 'kit',
  /** What went wrong, in the folder that a failed build leaves. */
  failure: 'failure.txt',
  bootLog: 'boot.log',
  bootResult: 'boot.json',
} as const;
