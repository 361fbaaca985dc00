import { describe, expect, it } from 'vitest';
import { exitOf } from '../../src/diagnostics/diagnostic.ts';
import { formatChecksums } from '../../src/record/checksums.ts';
import { buildProvenance } from '../../src/record/provenance.ts';
import { formatStatement } from '../../src/record/statement.ts';
import { verifyRecord, type RecordFolder } from '../../src/record/verify-record.ts';
import { artefacts, byproducts, facts, sha256 } from './station.ts';

const digests = (contents: Iterable<readonly [string, string]>): Map<string, string> =>
  new Map(Array.from(contents, ([name, text]) => [name, sha256(text)]));

const record = {
  checksums: formatChecksums(facts.artefacts),
  provenance: formatStatement(buildProvenance(facts)),
  files: digests([
    ...artefacts,
    ...byproducts,
    ['SHA256SUMS', 's'],
    ['provenance.json', 'p'],
    ['boot.log', 'b'],
    ['boot.json', 'j'],
  ]),
} satisfies RecordFolder;

const without = (name: string): Map<string, string> =>
  new Map([...record.files].filter(([one]) => one !== name));
const withFile = (name: string, text: string): Map<string, string> =>
  new Map(record.files).set(name, sha256(text));

function judge(folder: RecordFolder): { codes: string[]; exit: number; verified: readonly string[] } {
  const { value, diagnostics } = verifyRecord(folder);
  return { codes: diagnostics.map(({ code }) => code), exit: exitOf(diagnostics), verified: value.verified };
}

describe('verifyRecord', () => {
  it('finds nothing wrong with a whole record', () => {
    expect(judge(record)).toEqual({
      codes: [],
      exit: 0,
      verified: ['System.map', 'bzImage', 'kernel.config', 'modules.tar.xz'],
    });
  });

  it.each<[string, Partial<RecordFolder>, string[], number]>([
    ['an artefact is missing', { files: without('bzImage') }, ['record/missing-file'], 1],
    ['an artefact is altered', { files: withFile('bzImage', 'another image') }, ['record/altered'], 1],
    ['a byproduct is altered', { files: withFile('kit/build.sh', 'rm -rf') }, ['record/altered'], 1],
    ['a byproduct is missing', { files: without('make.log.gz') }, ['record/missing-byproduct'], 0],
    ['a stranger lies there', { files: withFile('vmlinux', 'v') }, ['record/unlisted-file'], 0],
    [
      'there is no list',
      { checksums: undefined },
      ['record/no-checksums', ...Array<string>(4).fill('record/not-in-checksums')],
      4,
    ],
    [
      'the list is empty',
      { checksums: '' },
      ['record/no-checksums', ...Array<string>(4).fill('record/not-in-checksums')],
      4,
    ],
    ['there is no provenance', { provenance: undefined }, ['record/no-provenance'], 4],
    ['the provenance is no JSON', { provenance: '{' }, ['record/malformed-provenance'], 4],
    [
      'a line is malformed',
      { checksums: `${record.checksums}nonsense\n` },
      ['record/malformed-checksums'],
      4,
    ],
    [
      'the list names a file outside',
      { checksums: `${record.checksums}${sha256('x')}  ../x\n` },
      ['record/path-outside'],
      4,
    ],
    [
      'the list has one that the provenance lacks',
      {
        checksums: formatChecksums([...facts.artefacts, { name: 'vmlinux', sha256: sha256('v') }]),
        files: withFile('vmlinux', 'v'),
      },
      ['record/not-a-subject'],
      1,
    ],
    [
      'the provenance has one that the list lacks',
      { checksums: formatChecksums(facts.artefacts.filter(({ name }) => name !== 'System.map')) },
      ['record/not-in-checksums'],
      1,
    ],
    [
      'the list was changed to match an altered image',
      {
        checksums: formatChecksums(
          facts.artefacts.map((one) => (one.name === 'bzImage' ? { ...one, sha256: sha256('evil') } : one)),
        ),
        files: withFile('bzImage', 'evil'),
      },
      ['record/disagree'],
      1,
    ],
  ])('reports when %s', (_, change, codes, exit) => {
    const found = judge({ ...record, ...change });
    expect(found.codes).toEqual(codes);
    expect(found.exit).toBe(exit);
  });

  it('collects everything at once, and verifies the rest', () => {
    const files = new Map(without('System.map')).set('bzImage', sha256('evil')).set('notes.txt', sha256('n'));
    expect(judge({ ...record, files })).toEqual({
      codes: ['record/altered', 'record/missing-file', 'record/unlisted-file'].toSorted(),
      exit: 1,
      verified: ['kernel.config', 'modules.tar.xz'],
    });
  });

  it('verifies nothing without a provenance', () => {
    const { provenance: _, ...rest } = record;
    expect(judge(rest).verified).toEqual([]);
  });
});
