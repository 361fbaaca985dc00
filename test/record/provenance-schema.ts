/**
 * The published field rules as a JSON Schema, written by hand from the texts and not from our code:
 * - github.com/in-toto/attestation, spec/v1/statement.md, resource_descriptor.md, digest_set.md, field_types.md
 *   (TypeURI, ResourceURI, Timestamp) and README.md ("Parsing rules": extension fields are `<vendor>_<field>`);
 * - slsa.dev/spec/v1.2/build-provenance: which fields there are and which are required.
 * Stricter than the rules where they leave room: no field but the published ones and our extensions, SHA-256 always,
 * times always given.
 */
const hex = (length: number): object => ({ type: 'string', pattern: `^[0-9a-f]{${length}}$` });

/** RFC 3986; "the scheme and authority MUST be in lowercase" (field_types.md). */
const uri = {
  type: 'string',
  format: 'uri',
  allOf: [{ pattern: '^[a-z][a-z0-9+.-]*:' }, { not: { pattern: '^[^/]*//[^/?#]*[A-Z]' } }],
};

/** RFC 3339 in UTC, "Z". */
const timestamp = { type: 'string', format: 'date-time', pattern: '^\\d{4}-\\d{2}-\\d{2}T[0-9:.]+Z$' };

const extensions = { '^[a-z][a-z0-9]*_[A-Za-z0-9]+$': {} };

const digestSet = {
  type: 'object',
  required: ['sha256'],
  properties: { sha256: hex(64), sha512: hex(128), gitCommit: { anyOf: [hex(40), hex(64)] } },
  additionalProperties: false,
};

const resourceDescriptor = {
  type: 'object',
  properties: {
    name: { type: 'string', minLength: 1 },
    uri,
    digest: digestSet,
    content: { type: 'string', contentEncoding: 'base64', maxLength: 1366 },
    downloadLocation: uri,
    mediaType: { type: 'string', pattern: '^[a-z]+/[a-z0-9.+-]+$' },
    annotations: { type: 'object', patternProperties: extensions, additionalProperties: false },
  },
  additionalProperties: false,
  anyOf: [{ required: ['uri'] }, { required: ['digest'] }, { required: ['content'] }],
};

/** "values SHOULD be flat strings"; lists of them where the order counts. */
const parameters = {
  type: 'object',
  propertyNames: { pattern: '^[a-zA-Z]+$' },
  additionalProperties: { anyOf: [{ type: 'string' }, { type: 'array', items: { type: 'string' } }] },
};

const provenance = {
  type: 'object',
  required: ['buildDefinition', 'runDetails'],
  properties: {
    buildDefinition: {
      type: 'object',
      required: ['buildType', 'externalParameters'],
      properties: {
        buildType: uri,
        externalParameters: parameters,
        internalParameters: parameters,
        resolvedDependencies: { type: 'array', items: resourceDescriptor },
      },
      patternProperties: extensions,
      additionalProperties: false,
    },
    runDetails: {
      type: 'object',
      required: ['builder', 'metadata'],
      properties: {
        builder: {
          type: 'object',
          required: ['id'],
          properties: {
            id: uri,
            builderDependencies: { type: 'array', items: resourceDescriptor },
            version: { type: 'object', additionalProperties: { type: 'string' } },
          },
          additionalProperties: false,
        },
        metadata: {
          type: 'object',
          required: ['invocationId', 'startedOn', 'finishedOn'],
          properties: {
            invocationId: { type: 'string', minLength: 1 },
            startedOn: timestamp,
            finishedOn: timestamp,
          },
          additionalProperties: false,
        },
        byproducts: { type: 'array', items: resourceDescriptor },
      },
      patternProperties: extensions,
      additionalProperties: false,
    },
  },
  patternProperties: extensions,
  additionalProperties: false,
};

export const statementJsonSchema: object = {
  $schema: 'http://json-schema.org/draft-07/schema#',
  type: 'object',
  required: ['_type', 'subject', 'predicateType', 'predicate'],
  properties: {
    _type: { const: 'https://in-toto.io/Statement/v1' },
    subject: {
      type: 'array',
      minItems: 1,
      items: { allOf: [resourceDescriptor, { required: ['name', 'digest'] }] },
    },
    predicateType: { const: 'https://slsa.dev/provenance/v1' },
    predicate: provenance,
  },
  additionalProperties: false,
};
