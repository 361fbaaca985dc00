import { Ajv } from 'ajv';
import addFormats from 'ajv-formats';
import { beforeAll, describe, expect, it } from 'vitest';
import { buildProvenance } from '../../src/record/provenance.ts';
import { readStatement } from '../../src/record/read-statement.ts';
import { formatStatement, type ResourceDescriptor, type Statement } from '../../src/record/statement.ts';
import type { GitPin, ImagePin } from '../../src/spec/lock.ts';
import { statementJsonSchema } from './provenance-schema.ts';
import { facts, isolation, sha256 } from './station.ts';

const built = buildProvenance(facts);
const dependencies = built.predicate.buildDefinition.resolvedDependencies;
const ofRole = (role: string): readonly ResourceDescriptor[] =>
  dependencies.filter(({ annotations }) => annotations?.['quern_role'] === role);

describe('buildProvenance', () => {
  let valid: (statement: unknown) => readonly string[];
  beforeAll(() => {
    const ajv = new Ajv({ allErrors: true, strict: true, strictTypes: false, strictRequired: false });
    addFormats.default(ajv);
    const check = ajv.compile(statementJsonSchema);
    valid = (statement) =>
      check(statement) ? [] : (check.errors ?? []).map((one) => `${one.instancePath} ${one.message}`);
  });

  it('keeps the published field rules', () => {
    expect(valid(JSON.parse(formatStatement(built)))).toEqual([]);
  });

  it.each<[string, (statement: Statement) => unknown]>([
    ['a subject without digest', (one) => ({ ...one, subject: [{ name: 'bzImage' }] })],
    [
      'a digest in capitals',
      (one) => ({ ...one, subject: [{ name: 'a', digest: { sha256: 'A'.repeat(64) } }] }),
    ],
    [
      'a predicate type with a capital host',
      (one) => ({ ...one, predicateType: 'https://SLSA.dev/provenance/v1' }),
    ],
    [
      'a time of another zone',
      (one) => {
        const { predicate } = one;
        const metadata = { ...predicate.runDetails.metadata, startedOn: '2026-11-25T10:00:00+01:00' };
        return { ...one, predicate: { ...predicate, runDetails: { ...predicate.runDetails, metadata } } };
      },
    ],
    ['a field of nobody', (one) => ({ ...one, predicate: { ...one.predicate, reproducible: true } })],
  ])('(the check itself finds %s)', (_, spoil) => {
    expect(valid(JSON.parse(JSON.stringify(spoil(built))))).not.toEqual([]);
  });

  it('is read back by our own reader', () => {
    const { value, diagnostics } = readStatement(formatStatement(built));
    expect(diagnostics).toEqual([]);
    expect(value?.image).toEqual({
      name: 'bzImage',
      sha256: sha256('the image'),
      release: '6.1.192-otter',
      versionString: '#1 Thu Jan  1 00:00:00 UTC 2026',
    });
    expect(value?.externalParameters['arch']).toBe('x86_64');
  });

  it('names every artefact as a subject, with its digest', () => {
    expect(built.subject.map(({ name, digest }) => [name, digest])).toEqual(
      facts.artefacts.map((artefact) => [artefact.name, { sha256: artefact.sha256 }]),
    );
  });

  it('names every input as a dependency, by digest', () => {
    const { inputs } = facts;
    const pins = [
      facts.specFile,
      facts.lockFile,
      inputs.source,
      inputs.base,
      ...inputs.fragments,
      ...inputs.patches,
      ...inputs.packages,
    ];
    expect(dependencies).toHaveLength(pins.length);
    expect(new Set(dependencies.map(({ digest }) => digest?.['sha256']))).toEqual(
      new Set(pins.map((pin) => pin?.sha256)),
    );
  });

  it('identifies packages by purl and says where they are fetched', () => {
    expect(ofRole('package').map(({ uri, downloadLocation }) => [uri, downloadLocation])).toEqual([
      // package-url/purl-spec: `+` is percent-encoded, `:` and `~` are not.
      [
        'pkg:deb/debian/bc@1.07.1-3%2Bb1?arch=amd64',
        'http://deb.debian.org/debian/pool/main/b/bc/bc_1.07.1-3%2Bb1_amd64.deb',
      ],
      [
        'pkg:deb/debian/g%2B%2B-12@4:12.2.0~rc1-3?arch=amd64',
        'http://deb.debian.org/debian/pool/main/g/gcc/g%2B%2B-12_12.2.0~rc1-3_amd64.deb',
      ],
    ]);
    expect(ofRole('source')[0]?.uri).toBe('pkg:deb/debian/linux-source-6.1@6.1.192-2?arch=all');
  });

  // in-toto/attestation, spec/v1, digest_set.md: `gitCommit`; SPDX 2.3 section 7.7: a location of the kind git+https
  it('identifies a commit by its name, and by the tar that is made of it', () => {
    const [commit, tree] = ['1', '2'].map((digit) => digit.repeat(40)) as [string, string];
    const source: GitPin = {
      kind: 'git',
      url: 'https://git.otter-bank.example/linux.git',
      tag: 'v6.1.192',
      commit,
      tree,
      size: 5,
      sha256: sha256('tar'),
      signature: { sha256: sha256('signature'), signer: 'A'.repeat(40), made: '2026-01-01T00:00:00Z' },
      keys: [],
    };
    const { buildDefinition } = buildProvenance({ ...facts, inputs: { ...facts.inputs, source } }).predicate;
    expect(buildDefinition.resolvedDependencies.find(({ uri }) => uri?.startsWith('git+'))).toEqual({
      name: 'linux-6.1.192.tar',
      uri: `git+https://git.otter-bank.example/linux.git@${commit}`,
      digest: { sha256: sha256('tar'), gitCommit: commit },
      annotations: {
        quern_role: 'source',
        quern_tree: tree,
        quern_tag: 'v6.1.192',
        quern_signer: 'A'.repeat(40),
        quern_signature: sha256('signature'),
      },
    });
  });

  it('identifies an image by purl and by the digest of its manifest', () => {
    const image: ImagePin = {
      registry: 'pier.otter-bank.example:5000',
      repository: 'build/base',
      tag: '7',
      index: sha256('index'),
      manifest: sha256('manifest'),
      architecture: 'amd64',
      packages: ['make'],
      layers: [{ sha256: sha256('layer'), size: 5, compression: 'gzip', unpacked: sha256('tar') }],
    };
    const environment = { debian: 'bookworm', image: 'pier.otter-bank.example:5000/build/base:7' } as const;
    const { predicate } = buildProvenance({
      ...facts,
      spec: { ...facts.spec, environment: { ...environment, snapshot: '2026-01-01T00:00:00Z' } },
      inputs: { ...facts.inputs, image },
    });
    const { resolvedDependencies, externalParameters } = predicate.buildDefinition;
    expect(resolvedDependencies.find(({ annotations }) => annotations?.['quern_role'] === 'image')).toEqual({
      name: 'pier.otter-bank.example:5000/build/base',
      // as the examples of the type in package-url/purl-spec have it
      uri: `pkg:oci/base@sha256%3A${sha256('manifest')}?arch=amd64&repository_url=pier.otter-bank.example%3A5000/build/base&tag=7`,
      digest: { sha256: sha256('manifest') },
      annotations: { quern_role: 'image' },
    });
    expect(externalParameters).toMatchObject({
      environment: 'debian:bookworm',
      image: environment.image,
      snapshot: '2026-01-01T00:00:00Z',
    });
  });

  it('identifies a base out of a package by that, and says which of its configurations it is', () => {
    const base = {
      package: 'linux-config-6.1',
      version: '6.1.192-2',
      config: 'amd64_none_amd64',
      content: sha256('config'),
      origin: 'debian',
      path: 'pool/main/l/linux/linux-config-6.1_6.1.192-2_amd64.deb',
      size: 5,
      sha256: sha256('package'),
    };
    const asked = { kind: 'debian', package: base.package, config: base.config } as const;
    const fragments = [{ tree: 'kvm_guest.config' }, 'serial.config'];
    const statement = buildProvenance({
      ...facts,
      spec: { ...facts.spec, config: { ...facts.spec.config, base: asked, fragments } },
      inputs: { ...facts.inputs, base },
    });
    expect(valid(JSON.parse(formatStatement(statement)))).toEqual([]);
    const { resolvedDependencies, externalParameters } = statement.predicate.buildDefinition;
    expect(
      resolvedDependencies.find(({ annotations }) => annotations?.['quern_role'] === 'base'),
    ).toMatchObject({
      uri: 'pkg:deb/debian/linux-config-6.1@6.1.192-2?arch=amd64',
      digest: { sha256: sha256('package') },
      annotations: { quern_config: 'amd64_none_amd64', quern_content: sha256('config') },
    });
    expect(externalParameters).toMatchObject({
      base: 'debian:linux-config-6.1/amd64_none_amd64',
      fragments: ['tree:kvm_guest.config', 'serial.config'],
    });
  });

  it('names a source on disk by its path', () => {
    const source = { kind: 'tarball', path: 'linux-6.1.tar.xz', size: 5, sha256: sha256('tar') } as const;
    const { predicate } = buildProvenance({ ...facts, inputs: { ...facts.inputs, source } });
    const described = predicate.buildDefinition.resolvedDependencies.find(
      ({ name }) => name === 'linux-6.1.tar.xz',
    );
    expect(described).toEqual({
      name: 'linux-6.1.tar.xz',
      digest: { sha256: sha256('tar') },
      annotations: { quern_role: 'source' },
    });
  });

  it('says what was asked for, in order', () => {
    expect(built.predicate.buildDefinition.externalParameters).toEqual({
      spec: 'gauge-station.yaml',
      name: 'gauge-station',
      kernelVersion: '6.1',
      source: 'debian:linux-source-6.1',
      arch: 'x86_64',
      base: 'target:tinyconfig',
      fragments: ['serial-console.config'],
      set: ['CRC7=m', 'DEFAULT_HOSTNAME="otter-bank"'],
      patches: ['patches/0001-gauge-banner.patch'],
      environment: 'debian:bookworm',
      gcc: '12',
      localversion: '-otter',
      buildUser: 'gauge',
      buildHost: 'otter-bank',
      epoch: '1767225600',
      outputs: ['image', 'modules'],
    });
  });

  it.each([
    [['lo'], 'none'],
    [[], 'none'],
    [['lo', 'tunl0', 'sit0'], 'none'],
    [['lo', 'eth0'], 'present'],
  ])('says of the interfaces %j that the network is %s', (interfaces, network) => {
    const { predicate } = buildProvenance({ ...facts, isolation: { ...isolation, interfaces } });
    expect(predicate.runDetails.quern_isolation).toEqual({ ...isolation, interfaces, network });
  });

  it("puts nothing of the caller's record of isolation in that it does not know", () => {
    const more = { ...isolation, secret: 'the key of the gauge house' };
    expect(formatStatement(buildProvenance({ ...facts, isolation: more }))).not.toContain('gauge house');
  });
});
