import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { parseChecksums } from './checksums.ts';
import { recordCodes } from './codes.ts';
import { readStatement, type ReadStatement } from './read-statement.ts';
import { recordFiles } from './record-files.ts';

/** What lies in a folder. */
export interface RecordFolder {
  /** Text of `SHA256SUMS`; absent when there is no such file. */
  readonly checksums?: string | undefined;
  /** Text of `provenance.json`; absent when there is no such file. */
  readonly provenance?: string | undefined;
  /** Every regular file below the folder, by its path relative to it, with its SHA-256 in lower-case hex. */
  readonly files: ReadonlyMap<string, string>;
}

export interface Verification {
  /** The artefacts that both lists and the folder agree on, in the order of `SHA256SUMS`. */
  readonly verified: readonly string[];
  /** What the provenance says; absent when it could not be read. */
  readonly statement?: ReadStatement;
}

/**
 * Compares what lies in a folder with both lists of the record, and the lists with each other. Everything that is
 * wrong is reported at once, what is malformed first.
 */
export function verifyRecord({ checksums, provenance, files }: RecordFolder): {
  readonly value: Verification;
  readonly diagnostics: readonly Diagnostic[];
} {
  const listed = checksums === undefined ? noChecksums() : parseChecksums(checksums, recordFiles.checksums);
  const read = provenance === undefined ? noProvenance() : readStatement(provenance, recordFiles.provenance);
  const diagnostics = [...listed.diagnostics, ...read.diagnostics];
  if (listed.value.size === 0 && listed.diagnostics.length === 0) diagnostics.push(emptyList());

  const sums = listed.value;
  const statement = 'value' in read ? read.value : undefined;
  const bad = new Set<string>();
  const judge = (name: string, diagnostic: Diagnostic): void => {
    bad.add(name);
    diagnostics.push(diagnostic);
  };
  if (statement) compareLists(sums, statement.subjects, judge);
  // Where the lists disagree, SHA256SUMS is the one that the folder is held against: it is what people check by hand.
  for (const [name, expected] of new Map([...(statement?.subjects ?? []), ...sums])) {
    const actual = files.get(name);
    if (actual === undefined) judge(name, missing(name));
    else if (actual !== expected) judge(name, altered(name, expected, actual));
  }
  if (statement) diagnostics.push(...checkRest(files, sums, statement));
  return {
    value: {
      verified: statement ? [...sums.keys()].filter((name) => !bad.has(name)) : [],
      ...(statement && { statement }),
    },
    diagnostics,
  };
}

type Judge = (name: string, diagnostic: Diagnostic) => void;

function compareLists(
  sums: ReadonlyMap<string, string>,
  subjects: ReadonlyMap<string, string>,
  judge: Judge,
): void {
  for (const [name, sha256] of sums) {
    const other = subjects.get(name);
    if (other === undefined) {
      judge(
        name,
        recordCodes.report('record/not-a-subject', {
          message: `${quoted(name)} is listed in ${recordFiles.checksums} but is no subject of ${recordFiles.provenance}`,
          help: 'The two were not written by the same build, or one was changed later: build again, or ask who did.',
        }),
      );
    } else if (other !== sha256) {
      judge(
        name,
        recordCodes.report('record/disagree', {
          message: `${recordFiles.checksums} and ${recordFiles.provenance} give different digests for ${quoted(name)}`,
          notes: [`${recordFiles.checksums}: ${sha256}`, `${recordFiles.provenance}: ${other}`],
          help: 'The two were not written by the same build, or one was changed later: build again, or ask who did.',
        }),
      );
    }
  }
  for (const name of subjects.keys()) {
    if (sums.has(name)) continue;
    judge(
      name,
      recordCodes.report('record/not-in-checksums', {
        message: `${quoted(name)} is a subject of ${recordFiles.provenance} but is not listed in ${recordFiles.checksums}`,
      }),
    );
  }
}

const ownFiles: ReadonlySet<string> = new Set(Object.values(recordFiles));

/** Byproducts are compared where they lie in the folder; the rest should be of the record, or else is a stranger. */
function checkRest(
  files: ReadonlyMap<string, string>,
  sums: ReadonlyMap<string, string>,
  { subjects, byproducts }: ReadStatement,
): Diagnostic[] {
  const diagnostics: Diagnostic[] = [];
  for (const [name, expected] of byproducts) {
    if (sums.has(name) || subjects.has(name)) continue;
    const actual = files.get(name);
    if (actual === undefined) {
      diagnostics.push(
        recordCodes.report('record/missing-byproduct', {
          message: `${quoted(name)}, a byproduct of the build, is not in the folder`,
        }),
      );
    } else if (actual !== expected) {
      diagnostics.push(altered(name, expected, actual));
    }
  }
  for (const name of files.keys()) {
    if (sums.has(name) || subjects.has(name) || byproducts.has(name) || ownFiles.has(name)) continue;
    diagnostics.push(
      recordCodes.report('record/unlisted-file', {
        message: `${quoted(name)} lies in the folder, but no part of the record speaks of it`,
        notes: ['Nothing is known of where it comes from.'],
      }),
    );
  }
  return diagnostics;
}

function missing(name: string): Diagnostic {
  return recordCodes.report('record/missing-file', {
    message: `${quoted(name)} is listed in the record but is not in the folder`,
    help: 'Copy the whole folder again, or build again.',
  });
}

function altered(name: string, expected: string, actual: string): Diagnostic {
  return recordCodes.report('record/altered', {
    message: `${quoted(name)} is not the file that was built: its SHA-256 differs`,
    notes: [`recorded: ${expected}`, `found:    ${actual}`],
    help: 'Do not install it. Copy it again from where it was built, or build again.',
  });
}

function noChecksums(): ReturnType<typeof parseChecksums> {
  const diagnostic = recordCodes.report('record/no-checksums', {
    message: `the folder has no ${recordFiles.checksums}`,
    help: 'Name the folder that `quern build` wrote its output to.',
  });
  return { value: new Map(), diagnostics: [diagnostic] };
}

function emptyList(): Diagnostic {
  return recordCodes.report('record/no-checksums', { message: `${recordFiles.checksums} lists nothing` });
}

function noProvenance(): ReturnType<typeof readStatement> {
  const diagnostic = recordCodes.report('record/no-provenance', {
    message: `the folder has no ${recordFiles.provenance}`,
    help: 'Name the folder that `quern build` wrote its output to.',
  });
  return { diagnostics: [diagnostic] };
}
