import fc from 'fast-check';
import { builtArchitectures } from '../../src/environment/architectures.ts';
import { parseImageReference } from '../../src/spec/image-reference.ts';
import type {
  Answers,
  ImagePin,
  Inputs,
  Lock,
  PackagedConfigPin,
  PatchPin,
  SourcePin,
} from '../../src/spec/lock.ts';
import { standsForSeveral } from '../../src/spec/patch-text.ts';
import {
  debianReleases,
  outputKinds,
  type Spec,
  type SpecBase,
  type SpecFragment,
  type SpecPatch,
  type SpecSource,
} from '../../src/spec/spec.ts';

const lower = 'abcdefghijklmnopqrstuvwxyz0123456789';

function word(characters: string, maxLength: number): fc.Arbitrary<string> {
  return fc.string({ unit: fc.constantFrom(...characters), minLength: 1, maxLength });
}

const hex64 = fc.string({ unit: fc.constantFrom(...'0123456789abcdef'), minLength: 64, maxLength: 64 });
const hex40 = fc.string({ unit: fc.constantFrom(...'0123456789abcdef'), minLength: 40, maxLength: 40 });
const size = fc.nat(1e9);
const path = fc
  .array(word(`${lower}_@+`, 8), { minLength: 1, maxLength: 3 })
  .map((segments) => segments.join('/'));
const paths = fc.uniqueArray(path, { maxLength: 3 });
const series = fc
  .tuple(fc.integer({ min: 4, max: 9 }), fc.integer({ min: 0, max: 99 }))
  .map((pair) => pair.join('.'));

const fingerprint = fc.string({ unit: fc.constantFrom(...'0123456789ABCDEF'), minLength: 40, maxLength: 40 });
const url = word(lower, 8).map((name) => `https://kernels.otter-bank.example/v6.x/${name}.tar.xz`);
const signers = {
  signers: fc.uniqueArray(fingerprint, { minLength: 1, maxLength: 3 }),
  keys: fc.constantFrom<string[][]>([], ['releases@otter-bank.example']),
};

const git = fc.oneof(
  fc.record({ commit: hex40 }),
  fc.record({ tag: fc.constantFrom('v6.1.119', 'station/7'), commit: hex40 }),
  fc.record({ tag: fc.constant('v6.1.119') }),
);
const gitSource = fc
  .record({ named: git, url, signers: fc.constantFrom<string[]>([], ['A'.repeat(40)]) })
  .map(({ named, url: place, signers: by }) => ({
    kind: 'git' as const,
    url: place,
    ...named,
    signers: 'tag' in named ? by : [],
    keys: [],
  }));

const source: fc.Arbitrary<SpecSource> = fc.oneof(
  gitSource,
  series.map((one) => ({ kind: 'debian', package: `linux-source-${one}` }) as const),
  path.map((one) => ({ kind: 'tarball', path: one }) as const),
  path.map((one) => ({ kind: 'tree', path: one }) as const),
  fc.record({ kind: fc.constant('release' as const), site: fc.constant('kernel.org' as const), ...signers }),
  fc.record({
    kind: fc.constant('url' as const),
    urls: fc.uniqueArray(url, { minLength: 1, maxLength: 3 }),
    sha256: hex64,
    signers: fc.constant([]),
    keys: fc.constant([]),
  }),
  fc.record({
    kind: fc.constant('url' as const),
    urls: fc.uniqueArray(url, { minLength: 1, maxLength: 3 }),
    signature: path.map((one) => ({ kind: 'file', path: one }) as const),
    keyring: path,
    ...signers,
  }),
);

const base: fc.Arbitrary<SpecBase> = fc.oneof(
  fc.constantFrom('tinyconfig', 'x86_64_defconfig').map((target) => ({ kind: 'target', target }) as const),
  path.map((one) => ({ kind: 'file', path: one }) as const),
  path.map((one) => ({ kind: 'running', path: one }) as const),
  series.map(
    (one) => ({ kind: 'debian', package: `linux-config-${one}`, config: 'amd64_none_cloud-amd64' }) as const,
  ),
);

const fragments: fc.Arbitrary<readonly SpecFragment[]> = fc
  .tuple(paths, fc.constantFrom<SpecFragment[][]>([], [{ tree: 'kvm_guest.config' }]))
  .map((both) => both.flat());

const option = fc.record({
  option: word('ABCXYZ_0189', 6),
  value: fc.oneof(
    fc.constantFrom('y', 'm', 'n', '16', '-1', '0x1F', '""'),
    fc
      .constantFrom('a', '$(id)', '`', '{{x}}', '\\"', '\\\\', "'", '\u2028', 'é', '\t')
      .map((text) => `"${text}"`),
  ),
});

/** Any spec that `readSpec` could give, as far as the shape goes. */
export const anySpec: fc.Arbitrary<Spec> = fc.record({
  name: word(lower, 10),
  kernel: fc.record({ version: series, source }),
  arch: fc.constantFrom(...builtArchitectures),
  config: fc.record({
    base,
    fragments,
    set: fc.uniqueArray(option, { maxLength: 4, selector: (one) => one.option }),
  }),
  patches: paths,
  environment: fc.oneof(
    fc.record({ debian: fc.constantFrom(...debianReleases) }),
    fc.record({ debian: fc.constantFrom(...debianReleases), gcc: fc.integer({ min: 4, max: 99 }) }),
    fc.record({
      debian: fc.constantFrom(...debianReleases),
      image: fc.constantFrom('debian:bookworm', `pier.otter-bank.example:5000/a/b@sha256:${'a'.repeat(64)}`),
      snapshot: fc.constantFrom('2026-01-01T00:00:00Z', '2026-02-01T00:00:00Z'),
    }),
  ),
  localversion: fc.constantFrom('', '-gauge', '+'),
  build: fc.oneof(
    fc.record({ user: word(lower, 4), host: word(lower, 4) }),
    fc.record({
      user: word(lower, 4),
      host: word(lower, 4),
      epoch: fc.integer({ min: 315532800, max: 4354819199 }),
    }),
  ),
  outputs: fc.subarray([...outputKinds], { minLength: 1 }),
});

function sourceOf(asked: SpecSource): fc.Arbitrary<SourcePin> {
  const file = fc.record({ sha256: hex64, size: fc.nat(1e9) });
  switch (asked.kind) {
    case 'debian':
      return file.map((pin) => ({
        kind: 'debian' as const,
        package: asked.package,
        version: '6.1.192-2',
        origin: 'debian',
        path: `pool/main/l/linux/${asked.package}_6.1.192-2_all.deb`,
        ...pin,
      }));
    case 'tarball':
    case 'tree':
      return file.map((pin) => ({ kind: asked.kind, path: asked.path, ...pin }));
    case 'git': {
      const { url: place, tag, commit, signers } = asked;
      const [signer] = signers;
      const signature = { sha256: 'a'.repeat(64), made: '2026-01-01T00:00:00Z' };
      return fc.tuple(file, hex40, hex40).map(([pin, other, tree]) => ({
        kind: 'git' as const,
        url: place,
        ...(tag !== undefined && { tag }),
        commit: commit ?? other,
        tree,
        ...pin,
        ...(signer !== undefined && { signature: { ...signature, signer } }),
        keys: [],
      }));
    }
    case 'release':
    case 'url': {
      const [signer] = asked.signers;
      const urls = asked.kind === 'url' ? asked.urls : ['https://cdn.kernel.org/linux-6.1.119.tar.xz'];
      const signature = { sha256: 'a'.repeat(64), made: '2026-01-01T00:00:00Z' };
      const keys = asked.keys.map((address) => ({
        address,
        fingerprint: 'B'.repeat(40),
        sha256: 'b'.repeat(64),
        content: 'b3R0ZXI=',
      }));
      return fc.tuple(file, file).map(([pin, tar]) => ({
        kind: asked.kind,
        urls,
        ...pin,
        tar,
        ...(signer !== undefined && { signature: { ...signature, signer } }),
        keys,
      }));
    }
  }
}

function packagedConfig(name: string, config: string): fc.Arbitrary<PackagedConfigPin> {
  return fc.record({
    package: fc.constant(name),
    version: fc.constant('6.1.192-2'),
    config: fc.constant(config),
    content: hex64,
    origin: fc.constant('debian'),
    path: fc.constant(`pool/main/l/linux/${name}_6.1.192-2_amd64.deb`),
    size,
    sha256: hex64,
  });
}

function imageOf(text: string): fc.Arbitrary<ImagePin> {
  const { registry, repository, tag, sha256 } = parseImageReference(text);
  const layer = fc.record({
    sha256: hex64,
    size,
    compression: fc.constantFrom('none' as const, 'gzip' as const, 'zstd' as const),
    unpacked: hex64,
  });
  const shared = {
    registry: fc.constant(registry),
    repository: fc.constant(repository),
    ...(tag !== undefined && { tag: fc.constant(tag) }),
    manifest: sha256 === undefined ? hex64 : fc.constant(sha256),
    architecture: fc.constant('amd64'),
    packages: fc.constantFrom([], ['bc', 'make']),
    layers: fc.array(layer, { minLength: 1, maxLength: 3 }),
  };
  const index = sha256 === undefined ? hex64 : fc.constant(sha256);
  return fc.oneof(fc.record(shared), fc.record({ ...shared, index }));
}

function inputsOf(spec: Spec): fc.Arbitrary<Inputs> {
  const pin = (one: string) => hex64.map((sha256) => ({ path: one, sha256 }));
  const patchPin = (one: SpecPatch): fc.Arbitrary<PatchPin> => {
    const options = typeof one === 'string' || 'series' in one ? {} : one;
    const path = typeof one === 'string' ? one : 'series' in one ? one.series : one.path;
    return hex64.map((sha256) => ({ ...options, path, sha256 }));
  };
  const pins = (all: readonly string[]) => fc.tuple(...all.map(pin));

  const origins = fc.constant({
    'debian-security': { url: 'http://security.otter-bank.example:8080/debian-security' },
    debian: {
      url: 'http://deb.otter-bank.example/debian',
      snapshot: 'https://old.otter-bank.example/20260101T000000Z',
    },
  });
  const asked = spec.kernel.source;
  const source: fc.Arbitrary<SourcePin> = sourceOf(asked);
  const names = fc.uniqueArray(
    word('abcdefgh0123456789+-.', 8).map((one) => `a${one}`),
    { maxLength: 5 },
  );
  const packages = names.chain((all) =>
    fc.tuple(
      ...all.map((name) =>
        fc.record({
          package: fc.constant(name),
          version: fc.constantFrom('1:2.3~rc1-4+deb12u1', '6.1'),
          architecture: fc.constantFrom('amd64', 'all'),
          essential: fc.boolean(),
          origin: fc.constantFrom('debian', 'debian-security'),
          path: fc.constant(`pool/main/a/${name}_6.1_amd64.deb`),
          size,
          sha256: hex64,
        }),
      ),
    ),
  );
  const shared = {
    origins,
    indexes: fc.constantFrom(
      [],
      [{ origin: 'debian', suite: 'bookworm', date: '2026-01-01T00:00:00Z', signer: 'A'.repeat(40) }],
    ),
    source,
    fragments: pins(spec.config.fragments.filter((one) => typeof one === 'string')),
    patches: fc.tuple(...spec.patches.filter((one) => !standsForSeveral(one)).map(patchPin)),
    packages,
  };
  const file = spec.config.base;
  const { image } = spec.environment;
  return fc.record({
    ...shared,
    ...((file.kind === 'file' || file.kind === 'running') && { base: pin(file.path) }),
    ...(file.kind === 'debian' && { base: packagedConfig(file.package, file.config) }),
    ...(image !== undefined && { image: imageOf(image) }),
  });
}

function answersOf(spec: Spec): fc.Arbitrary<Answers> {
  return fc.record({
    toolchain: fc.constantFrom<Record<string, string>[]>(
      {},
      { ld: 'GNU ld 2.40', gcc: 'gcc (Debian 12.2.0-14+deb12u1) 12.2.0' },
    ),
    variables: fc.constantFrom<Record<string, string>[]>({}, { srctree: '.', CC: 'gcc', ARCH: 'x86_64' }),
    probes: fc.dictionary(word(' \t!"$\'()*;\\`ab~\x80\xff', 12), word(' \t\'"$yn\x80\xff', 8), {
      maxKeys: 4,
    }),
    pack: hex64,
    kernelVersion: fc.constant('6.1.192'),
    kernelRelease: fc.constant('6.1.192-gauge'),
    versionString: fc.constant('#1 Thu Jan  1 00:00:00 UTC 2026'),
    epoch: spec.build.epoch === undefined ? fc.nat(2e9) : fc.constant(spec.build.epoch),
    config: hex64,
  });
}

/** Any lock for `spec`. */
export function anyLockOf(spec: Spec): fc.Arbitrary<Lock> {
  const shared = { lock: fc.constant(1 as const), spec: fc.constant(spec), inputs: inputsOf(spec) };
  return fc.oneof(fc.record(shared), fc.record({ ...shared, answers: answersOf(spec) }));
}

export const anyLock: fc.Arbitrary<Lock> = anySpec.chain(anyLockOf);
