import { configMachine, fragmentText } from '../spec/config-text.ts';
import {
  isPackaged,
  type Answers,
  type ArchivePin,
  type BasePin,
  type FilePin,
  type GitPin,
  type ImagePin,
  type Inputs,
  type PackagePin,
  type SourcePin,
} from '../spec/lock.ts';
import { patchText } from '../spec/patch-text.ts';
import { sourceFact, sourceText } from '../spec/source-text.ts';
import { isRemote, type Spec, type SpecBase } from '../spec/spec.ts';
import { kernelBuildType, localBuilder, provenanceType, statementType } from './identifiers.ts';
import { imageAnnotations, type Isolation, type ResourceDescriptor, type Statement } from './statement.ts';

/** A file by name and digest. */
export interface FileFact {
  /** Relative to the folder of the record. */
  readonly name: string;
  /** Lower-case hex. */
  readonly sha256: string;
  readonly mediaType?: string;
}

/** All that a build knows of itself when it is done. */
export interface ProvenanceFacts {
  /** Paths relative to the folder of the spec. */
  readonly specFile: FilePin;
  readonly lockFile: FilePin;
  readonly spec: Spec;
  readonly inputs: Inputs;
  readonly answers: Pick<Answers, 'kernelRelease' | 'versionString'>;
  readonly artefacts: readonly FileFact[];
  /** Name of the artefact that boots: `bzImage`. */
  readonly image: string;
  /** The resolved configuration, the build log, the files of the kit. */
  readonly byproducts: readonly FileFact[];
  /** Version of Quern. */
  readonly quern: string;
  readonly engine: { readonly name: string; readonly version: string };
  /** `make -j`. */
  readonly jobs: number;
  readonly isolation: Isolation;
  /** Unique to this run. */
  readonly invocationId: string;
  readonly startedOn: Date;
  readonly finishedOn: Date;
}

/** Builds the statement that goes into `provenance.json`. */
export function buildProvenance(facts: ProvenanceFacts): Statement {
  return {
    _type: statementType,
    subject: facts.artefacts.map((artefact) => ({
      name: artefact.name,
      digest: { sha256: artefact.sha256 },
      ...(artefact.mediaType !== undefined && { mediaType: artefact.mediaType }),
      ...(artefact.name === facts.image && {
        annotations: {
          [imageAnnotations.release]: facts.answers.kernelRelease,
          [imageAnnotations.versionString]: facts.answers.versionString,
        },
      }),
    })),
    predicateType: provenanceType,
    predicate: {
      buildDefinition: {
        buildType: kernelBuildType,
        externalParameters: buildExternalParameters(facts.specFile.path, facts.spec),
        internalParameters: buildInternalParameters(facts),
        resolvedDependencies: buildDependencies(facts),
      },
      runDetails: {
        builder: {
          id: localBuilder,
          version: { quern: facts.quern, [facts.engine.name]: facts.engine.version },
        },
        metadata: {
          invocationId: facts.invocationId,
          startedOn: facts.startedOn.toISOString(),
          finishedOn: facts.finishedOn.toISOString(),
        },
        byproducts: facts.byproducts.map(({ name, sha256, mediaType }) => ({
          name,
          digest: { sha256 },
          ...(mediaType !== undefined && { mediaType }),
        })),
        quern_isolation: buildIsolation(facts.isolation),
      },
    },
  };
}

/**
 * What the person asked for, in flat strings as the standard prefers. Lists keep their order: requests of a choice
 * depend on it. Digests of what is named here stand among the dependencies.
 */
function buildExternalParameters(path: string, spec: Spec): Record<string, string | readonly string[]> {
  const { kernel, config, environment, build } = spec;
  const { source } = kernel;
  return {
    spec: path,
    name: spec.name,
    kernelVersion: kernel.version,
    source: sourceText(source).replace(' ', ':'),
    arch: spec.arch,
    base: describeBase(config.base),
    fragments: config.fragments.map(fragmentText),
    set: config.set.map(({ option, value }) => `${option}=${value}`),
    patches: spec.patches.map(patchText),
    environment: `debian:${environment.debian}`,
    ...(environment.image !== undefined && { image: environment.image }),
    ...(environment.snapshot !== undefined && { snapshot: environment.snapshot }),
    ...(environment.gcc !== undefined && { gcc: String(environment.gcc) }),
    ...(environment.llvm !== undefined && { llvm: String(environment.llvm) }),
    localversion: spec.localversion,
    buildUser: build.user,
    buildHost: build.host,
    ...(build.epoch !== undefined && { epoch: String(build.epoch) }),
    outputs: spec.outputs,
  };
}

function describeBase(base: SpecBase): string {
  switch (base.kind) {
    case 'target':
      return `target:${base.target}`;
    case 'file':
    case 'running':
      return `${base.kind}:${base.path}`;
    case 'debian':
      return `debian:${base.package}/${base.config}`;
  }
}

function buildInternalParameters({ jobs, isolation }: ProvenanceFacts): Record<string, string> {
  const { memoryLimit, processLimit } = isolation;
  return {
    jobs: String(jobs),
    ...(memoryLimit !== '' && { memoryLimit }),
    ...(processLimit !== '' && { processLimit }),
  };
}

/**
 * The loopback, and the devices that tunnel modules put into every new network namespace: nothing goes through them
 * until somebody configures them (sysctl net.core.fb_tunnels_only_for_init_net, Documentation/admin-guide/sysctl/net.rst).
 */
const idleInterfaces: ReadonlySet<string> = new Set([
  ...['lo', 'tunl0', 'gre0', 'gretap0', 'erspan0', 'ip_vti0'],
  ...['ip6_vti0', 'sit0', 'ip6tnl0', 'ip6gre0'],
]);

/** Field by field, so that nothing else the caller's record carries gets into the statement. */
function buildIsolation(isolation: Isolation): Statement['predicate']['runDetails']['quern_isolation'] {
  return {
    network: isolation.interfaces.every((name) => idleInterfaces.has(name)) ? 'none' : 'present',
    kind: isolation.kind,
    interfaces: isolation.interfaces,
    user: isolation.user,
    capabilities: isolation.capabilities,
    bounding: isolation.bounding,
    noNewPrivileges: isolation.noNewPrivileges,
    seccomp: isolation.seccomp,
    rootReadOnly: isolation.rootReadOnly,
    memoryLimit: isolation.memoryLimit,
    processLimit: isolation.processLimit,
  };
}

type Role = 'spec' | 'lock' | 'source' | 'base' | 'fragment' | 'patch' | 'image' | 'package';

function buildDependencies({ specFile, lockFile, inputs }: ProvenanceFacts): ResourceDescriptor[] {
  return [
    describeFile('spec', specFile),
    describeFile('lock', lockFile),
    describeSource(inputs.source, inputs),
    ...(inputs.base ? [describeBasePin(inputs.base, inputs)] : []),
    ...inputs.fragments.map((pin) => describeFile('fragment', pin)),
    ...inputs.patches.map((pin) => describeFile('patch', pin)),
    ...(inputs.image ? [describeImage(inputs.image)] : []),
    ...inputs.packages.map((pin) => describePackage('package', pin, inputs)),
  ];
}

function describeFile(role: Role, { path, sha256 }: FilePin): ResourceDescriptor {
  return { name: path, digest: { sha256 }, annotations: { quern_role: role } };
}

/** A configuration out of a package: the digest is that of the package, which is what can be fetched. */
function describeBasePin(base: BasePin, inputs: Inputs): ResourceDescriptor {
  if (!isPackaged(base)) return describeFile('base', base);
  const architecture = configMachine(base.config);
  const described = describePackage('base', { ...base, architecture }, inputs);
  return {
    ...described,
    annotations: {
      ...described.annotations,
      quern_config: base.config,
      quern_content: base.content,
    },
  };
}

function describeSource(source: SourcePin, inputs: Inputs): ResourceDescriptor {
  if (source.kind === 'debian') return describePackage('source', { ...source, architecture: 'all' }, inputs);
  const described = describeFile('source', sourceFact(source));
  if (source.kind === 'git') return describeCommit(source, described);
  if (!isRemote(source)) return described;
  // the digest is that of the tar, which any of the places may have in any compression
  const { urls, signature } = source;
  return {
    ...described,
    annotations: {
      ...described.annotations,
      quern_urls: urls,
      ...(signature && { quern_signer: signature.signer, quern_signature: signature.sha256 }),
    },
  };
}

/** The commit as the standard names it, and the tar that is made of it. */
function describeCommit(
  { url, tag, commit, tree, sha256, signature }: GitPin,
  described: ResourceDescriptor,
): ResourceDescriptor {
  return {
    ...described,
    uri: `git+${url}@${commit}`,
    digest: { sha256, gitCommit: commit },
    annotations: {
      ...described.annotations,
      quern_tree: tree,
      ...(tag !== undefined && { quern_tag: tag }),
      ...(signature && { quern_signer: signature.signer, quern_signature: signature.sha256 }),
    },
  };
}

/**
 * `pkg:oci/NAME@sha256:DIGEST?repository_url=…`: package-url/purl-spec, type `oci`, qualifiers in the order of their names.
 * The manifest names each layer by its digest.
 */
function describeImage({ registry, repository, tag, manifest, architecture }: ImagePin): ResourceDescriptor {
  const name = repository.slice(repository.lastIndexOf('/') + 1);
  const place = `${registry}/${repository}`;
  const url = encodePath(place);
  const qualifiers = [
    `arch=${architecture}`,
    `repository_url=${url}`,
    ...(tag === undefined ? [] : [`tag=${tag}`]),
  ];
  return {
    name: place,
    uri: `pkg:oci/${name}@sha256%3A${manifest}?${qualifiers.join('&')}`,
    digest: { sha256: manifest },
    annotations: { quern_role: 'image' },
  };
}

function describePackage(
  role: Role,
  pin: ArchivePin & Pick<PackagePin, 'package' | 'version' | 'architecture'>,
  { origins }: Inputs,
): ResourceDescriptor {
  const origin = origins[pin.origin];
  return {
    name: pin.package,
    uri: formatDebianPurl(pin),
    digest: { sha256: pin.sha256 },
    ...(origin && { downloadLocation: `${origin.url}/${encodePath(pin.path)}` }),
    annotations: { quern_role: role },
  };
}

/** `pkg:deb/debian/NAME@VERSION?arch=ARCH`: package-url/purl-spec, type `deb`. A colon stays as it is there. */
function formatDebianPurl(pin: Pick<PackagePin, 'package' | 'version' | 'architecture'>): string {
  const encode = (text: string): string => encodeURIComponent(text).replaceAll('%3A', ':');
  return `pkg:deb/debian/${encode(pin.package)}@${encode(pin.version)}?arch=${encode(pin.architecture)}`;
}

function encodePath(path: string): string {
  return path.split('/').map(encodeURIComponent).join('/');
}
