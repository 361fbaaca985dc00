import type { z } from 'zod';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { printable, quoted } from '../diagnostics/printable.ts';
import { staysInside } from './checksums.ts';
import { recordCodes } from './codes.ts';
import { imageAnnotations } from './statement.ts';
import { statementSchema, type OutsideDescriptor } from './statement-schema.ts';

/** What the rest of the house uses of a provenance.json that came from outside. */
export interface ReadStatement {
  /** Artefact name to its SHA-256. */
  readonly subjects: ReadonlyMap<string, string>;
  /** Name to SHA-256 of those byproducts that have both. */
  readonly byproducts: ReadonlyMap<string, string>;
  readonly buildType: string;
  readonly builder: string;
  readonly externalParameters: Readonly<Record<string, unknown>>;
  /** The subject that is the kernel image, when the statement marks one. */
  readonly image?: {
    readonly name: string;
    readonly sha256: string;
    readonly release: string;
    readonly versionString: string;
  };
}

export interface StatementReading {
  readonly value?: ReadStatement;
  readonly diagnostics: readonly Diagnostic[];
}

/** Longer than any provenance of a kernel by far: some hundred packages take some hundred kilobytes. */
const longest = 16 * 1024 * 1024;

/**
 * Reads the text of a `provenance.json`. Reports `record/malformed-provenance`, `record/weak-digest`,
 * `record/path-outside` and `record/duplicate-name`; a value is returned when there is no error.
 *
 * `file` is what the diagnostics call it.
 */
export function readStatement(text: string, file = 'provenance.json'): StatementReading {
  if (text.length > longest) return refuse(file, `is ${text.length} characters long, which no provenance is`);
  let json: unknown;
  try {
    json = JSON.parse(text);
  } catch (error) {
    return refuse(file, `is not JSON: ${printable(error instanceof Error ? error.message : String(error))}`);
  }
  const parsed = statementSchema.safeParse(json);
  if (!parsed.success) return { diagnostics: parsed.error.issues.map((issue) => explain(file, issue)) };

  const { buildDefinition, runDetails } = parsed.data.predicate;
  const diagnostics: Diagnostic[] = [];
  const subjects = readDigests(file, 'subject', parsed.data.subject, diagnostics);
  const byproducts = readDigests(file, 'byproduct', runDetails.byproducts ?? [], diagnostics);
  if (diagnostics.length > 0) return { diagnostics };
  return {
    value: {
      subjects,
      byproducts,
      buildType: buildDefinition.buildType,
      builder: runDetails.builder.id,
      externalParameters: buildDefinition.externalParameters,
      ...readImage(parsed.data.subject),
    },
    diagnostics,
  };
}

/** Subjects must have a usable name and SHA-256; other algorithms are ignored, as digest_set.md tells consumers to. */
function readDigests(
  file: string,
  role: 'subject' | 'byproduct',
  descriptors: readonly OutsideDescriptor[],
  diagnostics: Diagnostic[],
): Map<string, string> {
  const digests = new Map<string, string>();
  for (const { name, digest } of descriptors) {
    const sha256 = digest?.['sha256'];
    if (role === 'byproduct' && (!name || sha256 === undefined)) continue;
    const known = name ?? '';
    if (!staysInside(known)) {
      diagnostics.push(
        recordCodes.report('record/path-outside', {
          message: `${quoted(file)} has a ${role} called ${quoted(known)}, which is no file below its folder`,
        }),
      );
    } else if (sha256 === undefined) {
      diagnostics.push(
        recordCodes.report('record/weak-digest', {
          message: `${quoted(file)} gives no SHA-256 for its ${role} ${quoted(known)}`,
        }),
      );
    } else if (digests.has(known)) {
      diagnostics.push(
        recordCodes.report('record/duplicate-name', {
          message: `${quoted(file)} has two ${role}s called ${quoted(known)}`,
        }),
      );
    } else {
      digests.set(known, sha256);
    }
  }
  return digests;
}

function readImage(subjects: readonly OutsideDescriptor[]): Pick<ReadStatement, 'image'> {
  for (const { name, digest, annotations } of subjects) {
    const release = annotations?.[imageAnnotations.release];
    const versionString = annotations?.[imageAnnotations.versionString];
    const sha256 = digest?.['sha256'];
    if (typeof release === 'string' && typeof versionString === 'string' && name && sha256 !== undefined) {
      return { image: { name, sha256, release, versionString } };
    }
  }
  return {};
}

function refuse(file: string, what: string): StatementReading {
  return { diagnostics: [malformed(`${quoted(file)} ${what}`)] };
}

function explain(file: string, issue: z.core.$ZodIssue): Diagnostic {
  const place = issue.path.map((key) => (typeof key === 'number' ? `[${key}]` : `.${String(key)}`)).join('');
  return malformed(
    `${quoted(file)}, ${quoted(place === '' ? '(whole)' : place.replace(/^\./, ''))}: ${printable(issue.message)}`,
  );
}

function malformed(message: string): Diagnostic {
  return recordCodes.report('record/malformed-provenance', {
    message,
    notes: ['The rules are those of in-toto Statement v1 and SLSA Provenance v1.'],
    help: 'Take the file again from where the kernel was built.',
  });
}
