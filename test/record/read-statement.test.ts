import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { buildProvenance } from '../../src/record/provenance.ts';
import { readStatement } from '../../src/record/read-statement.ts';
import { facts, sha256 } from './station.ts';

type Json = null | boolean | number | string | Json[] | { [key: string]: Json };

const whole = (): Json => JSON.parse(JSON.stringify(buildProvenance(facts))) as Json;

/** `whole` with the value at a path of keys replaced; `undefined` removes it. */
function spoiled(path: string, value: Json | undefined): string {
  const keys = path.split('/');
  const last = keys.pop() ?? '';
  const root = whole();
  let at = root;
  for (const key of keys) at = (at as { [key: string]: Json })[key] ?? null;
  const parent = at as { [key: string]: Json };
  if (value === undefined) delete parent[last];
  else parent[last] = value;
  return JSON.stringify(root);
}

const good = { name: 'a', digest: { sha256: sha256('a') } };

describe('readStatement', () => {
  it('takes a statement with optional fields null, empty or missing, and with unknown fields', () => {
    for (const [path, value] of [
      ['predicate/runDetails/metadata', null],
      ['predicate/runDetails/metadata', {}],
      ['predicate/runDetails/byproducts', null],
      ['predicate/runDetails/builder/version', undefined],
      ['predicate/buildDefinition/internalParameters', null],
      ['predicate/buildDefinition/resolvedDependencies', []],
      ['predicate/otter_extension', { level: 3 }],
      [
        'predicate/buildDefinition/resolvedDependencies',
        [{ uri: 'git+https://example.org/linux@v6.1', digest: null }],
      ],
      ['subject', [{ ...good, digest: { ...good.digest, ourhash: 'Zm9v' } }]],
    ] as const) {
      expect(readStatement(spoiled(path, value as Json | undefined)).diagnostics, path).toEqual([]);
    }
  });

  it.each<[string, Json | undefined, string]>([
    ['_type', 'https://in-toto.io/Statement/v0.1', '_type'],
    ['_type', undefined, '_type'],
    ['predicateType', 'https://slsa.dev/provenance/v0.2', 'predicateType'],
    ['subject', undefined, 'subject'],
    ['subject', [{ name: 'a' }], 'subject[0]'],
    ['subject', [{ name: 'a', uri: 'https://example.org/a' }], 'subject[0]'],
    ['subject', [{ name: 'a', digest: { sha256: 'A'.repeat(64) } }], 'subject[0].digest.sha256'],
    ['subject', [{ name: 'a', digest: { sha256: sha256('a').slice(1) } }], 'subject[0].digest.sha256'],
    ['subject', [good, { name: 'b', digest: {} }], 'subject[1]'],
    ['predicate', undefined, 'predicate'],
    ['predicate/buildDefinition/buildType', 'no uri', 'predicate.buildDefinition.buildType'],
    ['predicate/buildDefinition/buildType', 'HTTPS://quern.example/x', 'predicate.buildDefinition.buildType'],
    ['predicate/buildDefinition/buildType', 'https://Quern.example/x', 'predicate.buildDefinition.buildType'],
    ['predicate/buildDefinition/externalParameters', 'all', 'predicate.buildDefinition.externalParameters'],
    ['predicate/runDetails/builder', { version: {} }, 'predicate.runDetails.builder.id'],
    [
      'predicate/runDetails/metadata/startedOn',
      '2026-11-25 10:00',
      'predicate.runDetails.metadata.startedOn',
    ],
    [
      'predicate/runDetails/metadata/startedOn',
      '2026-11-25T10:00:00+01:00',
      'predicate.runDetails.metadata.startedOn',
    ],
    ['predicate/runDetails/byproducts', [{ name: 'x' }], 'predicate.runDetails.byproducts[0]'],
    ['predicate/runDetails/byproducts', [{ content: '?' }], 'predicate.runDetails.byproducts[0].content'],
  ])('refuses %s: %j', (path, value, place) => {
    const { value: read, diagnostics } = readStatement(spoiled(path, value));
    expect(read).toBeUndefined();
    expect(diagnostics.map(({ code, exit }) => [code, exit])).toEqual([['record/malformed-provenance', 4]]);
    expect(diagnostics[0]?.message).toContain(`\`${place}\``);
  });

  it.each<[string, Json, string]>([
    ['a subject that leaves the folder', [{ ...good, name: '../a' }], 'record/path-outside'],
    ['a subject without name', [{ digest: good.digest }], 'record/path-outside'],
    ['two subjects of one name', [good, good], 'record/duplicate-name'],
    [
      'a subject known by SHA-1 alone',
      [{ name: 'a', digest: { sha1: '0'.repeat(40) } }],
      'record/weak-digest',
    ],
  ])('refuses %s', (_, subject, code) => {
    expect(readStatement(spoiled('subject', subject)).diagnostics.map((one) => one.code)).toEqual([code]);
  });

  it.each(['', 'null', '[]', '{', '"text"', '\u0000', '['.repeat(100_000), 'x'.repeat(16 * 1024 * 1024 + 1)])(
    'refuses what is no statement at all (%#)',
    (text) => {
      const { value, diagnostics } = readStatement(text);
      expect(value).toBeUndefined();
      expect(diagnostics.every(({ code }) => code === 'record/malformed-provenance')).toBe(true);
      expect(diagnostics.length).toBeGreaterThan(0);
    },
  );

  it('never throws, whatever JSON stands at whatever place', () => {
    const places = [
      'subject',
      'subject/0',
      'subject/0/digest',
      'subject/0/annotations',
      'predicate',
      'predicate/runDetails',
      'predicate/runDetails/byproducts',
    ];
    fc.assert(
      fc.property(fc.constantFrom(...places), fc.jsonValue({ maxDepth: 4 }), (place, value) => {
        const read = readStatement(spoiled(place, value as Json));
        expect(read.value !== undefined || read.diagnostics.length > 0).toBe(true);
      }),
      { numRuns: 200 },
    );
  });
});
