/**
 * The names that Quern's records go by. They are identifiers first and addresses second: they compare as strings,
 * and nothing is ever fetched from them. One place, so that they change together once the project has a home.
 */

/** No trailing slash. */
const home = 'https://quern.example';

/** `buildType` of the provenance: how a kernel is built from a spec and a lock, and what the parameters mean. */
export const kernelBuildType: string = `${home}/build-types/kernel/v1`;

/**
 * `builder.id` of the provenance: a kit run by a container engine on the caller's own machine. Whoever trusts the
 * record trusts that machine: a mode with other security properties needs another id.
 */
export const localBuilder: string = `${home}/builders/local-container/v1`;

/** `_type` of the statement: in-toto Statement v1. */
export const statementType: string = 'https://in-toto.io/Statement/v1';

/** `predicateType`: SLSA Provenance v1, the same string for 1.0, 1.1 and 1.2. */
export const provenanceType: string = 'https://slsa.dev/provenance/v1';
