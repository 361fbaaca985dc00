/**
 * What a provenance.json from outside must look like before anything in it is used. Written from the published field
 * rules: github.com/in-toto/attestation, spec/v1 (statement.md, resource_descriptor.md, digest_set.md, field_types.md,
 * "Parsing rules" of README.md) and slsa.dev/spec/v1.2/build-provenance. By those rules unknown fields are ignored,
 * and unset, null and empty mean the same.
 */
import * as z from 'zod';
import { provenanceType, statementType } from './identifiers.ts';

/** RFC 3986, with the scheme and the authority in lower case as field_types.md demands (RFC 3986, 6.2.2.1). */
const uriShape =
  /^[a-z][a-z0-9+.-]*:(?:\/\/[^/?#A-Z]*(?=[/?#]|$))?(?!\/\/)(?:[\w.~:/?#[\]@!$&'()*+,;=-]|%[0-9A-Fa-f]{2})*$/;

const uri = z
  .string()
  .regex(uriShape, { error: 'must be a URI (RFC 3986) with scheme and authority in lower case' });

/** Hex digits of the standard algorithms whose length is fixed. */
const digestLengths: ReadonlyMap<string, readonly number[]> = new Map([
  ['sha224', [56]],
  ['sha256', [64]],
  ['sha384', [96]],
  ['sha512', [128]],
  ['sha512_224', [56]],
  ['sha512_256', [64]],
  ['sha3_224', [56]],
  ['sha3_256', [64]],
  ['sha3_384', [96]],
  ['sha3_512', [128]],
  ['sha1', [40]],
  ['md5', [32]],
  ['gitCommit', [40, 64]],
  ['gitTree', [40, 64]],
  ['gitBlob', [40, 64]],
  ['gitTag', [40, 64]],
]);

const digestSet = z.record(z.string(), z.string().min(1)).superRefine((digests, context) => {
  for (const [algorithm, digest] of Object.entries(digests)) {
    const lengths = digestLengths.get(algorithm);
    if (!lengths || (/^[0-9a-f]+$/.test(digest) && lengths.includes(digest.length))) continue;
    context.addIssue({
      code: 'custom',
      path: [algorithm],
      message: `must be ${lengths.join(' or ')} lower-case hex digits`,
    });
  }
});

const timestamp = z.iso.datetime({ offset: false, error: 'must be a time of RFC 3339 in UTC, ending in Z' });

/** An optional field as it may come from outside. */
type Maybe<Value> = Value | null | undefined;

export interface OutsideDescriptor {
  readonly name?: Maybe<string>;
  readonly uri?: Maybe<string>;
  readonly digest?: Maybe<Readonly<Record<string, string>>>;
  readonly content?: Maybe<string>;
  readonly downloadLocation?: Maybe<string>;
  readonly mediaType?: Maybe<string>;
  readonly annotations?: Maybe<Readonly<Record<string, unknown>>>;
}

export interface OutsideStatement {
  readonly subject: readonly OutsideDescriptor[];
  readonly predicate: {
    readonly buildDefinition: {
      readonly buildType: string;
      readonly externalParameters: Readonly<Record<string, unknown>>;
      readonly resolvedDependencies?: Maybe<readonly OutsideDescriptor[]>;
    };
    readonly runDetails: {
      readonly builder: { readonly id: string };
      readonly byproducts?: Maybe<readonly OutsideDescriptor[]>;
    };
  };
}

function hasDigest({ digest }: OutsideDescriptor): boolean {
  return Object.keys(digest ?? {}).length > 0;
}

function pointsElsewhere({ uri: identifier, content }: OutsideDescriptor): boolean {
  return Boolean(identifier) || Boolean(content);
}

const descriptor = z
  .looseObject({
    name: z.string().nullish(),
    uri: uri.nullish(),
    digest: digestSet.nullish(),
    content: z.base64({ error: 'must be base64' }).nullish(),
    downloadLocation: uri.nullish(),
    mediaType: z.string().nullish(),
    annotations: z.record(z.string(), z.unknown()).nullish(),
  })
  .refine((one) => hasDigest(one) || pointsElsewhere(one), {
    error: 'must have at least one of uri, digest and content',
  });

/** One that lacks all three has been reported by then. */
const subject = descriptor.refine((one) => hasDigest(one) || !pointsElsewhere(one), {
  error: 'must have a digest',
});

/** Checks every field that the rules speak of; the type names those that are used. */
export const statementSchema: z.ZodType<OutsideStatement> = z.looseObject({
  _type: z.literal(statementType),
  subject: z.array(subject),
  predicateType: z.literal(provenanceType),
  predicate: z.looseObject({
    buildDefinition: z.looseObject({
      buildType: uri,
      externalParameters: z.record(z.string(), z.unknown()),
      internalParameters: z.record(z.string(), z.unknown()).nullish(),
      resolvedDependencies: z.array(descriptor).nullish(),
    }),
    runDetails: z.looseObject({
      builder: z.looseObject({
        id: uri,
        version: z.record(z.string(), z.string()).nullish(),
        builderDependencies: z.array(descriptor).nullish(),
      }),
      metadata: z
        .looseObject({
          invocationId: z.string().nullish(),
          startedOn: timestamp.nullish(),
          finishedOn: timestamp.nullish(),
        })
        .nullish(),
      byproducts: z.array(descriptor).nullish(),
    }),
  }),
});
