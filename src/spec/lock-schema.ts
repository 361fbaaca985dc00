import * as z from 'zod';

import { builtArchitectures } from '../environment/architectures.ts';
import {
  base as baseGrammar,
  baseTarget,
  buildIdentity,
  commitName,
  configPackage,
  debianConfig,
  filePath,
  httpsUrl,
  kernelVersion,
  keyAddress,
  localVersion,
  optionName,
  patchPath,
  projectName,
  sourcePackage,
  tagName,
  treeFragment,
} from './grammar.ts';
import {
  base64,
  digest,
  exactVersion,
  fingerprint,
  kernelRelease,
  optionValue,
  originName,
  originUrl,
  packageArchitecture,
  packageName,
  packageVersion,
  poolPath,
  probe,
  probeAnswer,
  program,
  programVersion,
  suite,
  variable,
  versionStamp,
} from './lock-grammar.ts';
import { imageReference, imageRepository, imageTag, isHost, registryHost } from './image-reference.ts';
import type {
  ArchivePin,
  FilePin,
  ImagePin,
  IndexPin,
  Inputs,
  Lock,
  PackagedConfigPin,
  PackagePin,
  PatchPin,
} from './lock.ts';
import { earliestEpoch, latestEpoch } from './schema.ts';
import { debianReleases, outputKinds, releaseSites, type Spec } from './spec.ts';

function text({ pattern, rule }: { readonly pattern: RegExp; readonly rule: string }): z.ZodString {
  return z.string().regex(pattern, { error: rule });
}

/** More than any engine takes: common practice is 127. */
const mostLayers = 512;

const path = text(filePath);
const size = z.int().min(0);
const time = z.iso.datetime({ precision: 0, error: 'a time is written in UTC as 2026-01-01T00:00:00Z' });

const signers = {
  signers: z.array(text(fingerprint)),
  keyring: path.exactOptional(),
  keys: z.array(text(keyAddress)),
};
const strip = z.int().min(0).max(20).exactOptional();
const fuzz = z.int().min(0).max(2).exactOptional();
const reverse = z.boolean().exactOptional();

const spec: z.ZodType<Spec> = z.strictObject({
  name: text(projectName),
  kernel: z.strictObject({
    version: text(kernelVersion),
    source: z.discriminatedUnion('kind', [
      z.strictObject({ kind: z.literal('debian'), package: text(sourcePackage) }),
      z.strictObject({ kind: z.literal('tarball'), path }),
      z.strictObject({ kind: z.literal('tree'), path }),
      z.strictObject({
        kind: z.literal('release'),
        site: z.enum(releaseSites),
        ...signers,
        sums: text(fingerprint).exactOptional(),
      }),
      z.strictObject({
        kind: z.literal('url'),
        urls: z.array(text(httpsUrl)).min(1),
        sha256: text(digest).exactOptional(),
        signature: z
          .discriminatedUnion('kind', [
            z.strictObject({ kind: z.literal('url'), url: text(httpsUrl) }),
            z.strictObject({ kind: z.literal('file'), path }),
          ])
          .exactOptional(),
        ...signers,
      }),
      z.strictObject({
        kind: z.literal('git'),
        url: text(httpsUrl),
        tag: text(tagName).exactOptional(),
        commit: text(commitName).exactOptional(),
        ...signers,
      }),
    ]),
  }),
  arch: z.enum(builtArchitectures),
  config: z.strictObject({
    base: z.discriminatedUnion('kind', [
      z.strictObject({ kind: z.literal('target'), target: text({ ...baseGrammar, pattern: baseTarget }) }),
      z.strictObject({ kind: z.literal('file'), path }),
      z.strictObject({ kind: z.literal('running'), path }),
      z.strictObject({
        kind: z.literal('debian'),
        package: text(configPackage),
        config: text(debianConfig),
      }),
    ]),
    fragments: z.array(z.union([path, z.strictObject({ tree: text(treeFragment) })])),
    set: z.array(z.strictObject({ option: text(optionName), value: text(optionValue) })),
  }),
  patches: z.array(
    z.union([
      text(patchPath),
      z.strictObject({ path: text(patchPath), strip, fuzz, reverse }),
      z.strictObject({ series: path, strip, fuzz }),
    ]),
  ),
  environment: z.strictObject({
    debian: z.enum(debianReleases),
    image: text(imageReference).exactOptional(),
    snapshot: time.exactOptional(),
    gcc: z.int().min(4).max(99).exactOptional(),
    llvm: z.int().min(9).max(99).exactOptional(),
  }),
  localversion: text(localVersion),
  build: z.strictObject({
    user: text(buildIdentity),
    host: text(buildIdentity),
    epoch: z.int().min(earliestEpoch).max(latestEpoch).exactOptional(),
  }),
  outputs: z.array(z.enum(outputKinds)).min(1),
});

const filePin: z.ZodObject<{ path: z.ZodString; sha256: z.ZodString }, z.core.$strict> & z.ZodType<FilePin> =
  z.strictObject({ path, sha256: text(digest) });

const patchPin: z.ZodType<PatchPin> = z.strictObject({ path, sha256: text(digest), strip, fuzz, reverse });

const archive = {
  origin: text(originName),
  path: text(poolPath),
  size,
  sha256: text(digest),
} satisfies Record<keyof ArchivePin, z.ZodType>;

const packagePin: z.ZodType<PackagePin> = z.strictObject({
  package: text(packageName),
  version: text(packageVersion),
  architecture: text(packageArchitecture),
  essential: z.boolean(),
  ...archive,
});

const packagedConfig: z.ZodType<PackagedConfigPin> = z.strictObject({
  package: text(configPackage),
  version: text(packageVersion),
  config: text(debianConfig),
  content: text(digest),
  ...archive,
});

const indexPin: z.ZodType<IndexPin> = z.strictObject({
  origin: text(originName),
  suite: text(suite),
  date: time,
  signer: text(fingerprint),
});

const authenticity = {
  signature: z.strictObject({ sha256: text(digest), signer: text(fingerprint), made: time }).exactOptional(),
  keyring: filePin.exactOptional(),
  keys: z.array(
    z.strictObject({
      address: text(keyAddress),
      fingerprint: text(fingerprint),
      sha256: text(digest),
      content: text(base64),
    }),
  ),
};

const remotePin = z.strictObject({
  kind: z.enum(['release', 'url']),
  urls: z.array(text(httpsUrl)).min(1).max(64),
  size,
  sha256: text(digest),
  tar: z.strictObject({ size, sha256: text(digest) }),
  ...authenticity,
});

const gitPin = z.strictObject({
  kind: z.literal('git'),
  url: text(httpsUrl),
  tag: text(tagName).exactOptional(),
  commit: text(commitName),
  tree: text(commitName),
  size,
  sha256: text(digest),
  ...authenticity,
});

const image: z.ZodType<ImagePin> = z.strictObject({
  registry: z
    .string()
    .regex(registryHost, { error: 'a registry is a host, with a port where it has one' })
    .refine(isHost, { error: 'a registry is a host that a URL can have' }),
  repository: z.string().regex(imageRepository, { error: imageReference.rule }),
  tag: text(imageTag).exactOptional(),
  index: text(digest).exactOptional(),
  manifest: text(digest),
  architecture: text(packageArchitecture),
  packages: z.array(text(packageName)),
  layers: z
    .array(
      z.strictObject({
        sha256: text(digest),
        size,
        compression: z.enum(['none', 'gzip', 'zstd']),
        unpacked: text(digest),
      }),
    )
    .min(1, { error: 'an image has at least one layer' })
    .max(mostLayers, { error: `an image has at most ${mostLayers} layers` }),
});

const inputs: z.ZodType<Inputs> = z.strictObject({
  origins: z.record(
    text(originName),
    z.strictObject({ url: text(originUrl), snapshot: text(originUrl).exactOptional() }),
  ),
  indexes: z.array(indexPin),
  source: z.discriminatedUnion('kind', [
    z.strictObject({
      kind: z.literal('debian'),
      package: text(sourcePackage),
      version: text(packageVersion),
      ...archive,
    }),
    filePin.extend({ kind: z.literal('tarball'), size }),
    filePin.extend({ kind: z.literal('tree'), size }),
    remotePin,
    gitPin,
  ]),
  base: z.union([filePin, packagedConfig]).exactOptional(),
  fragments: z.array(filePin),
  patches: z.array(patchPin),
  image: image.exactOptional(),
  packages: z.array(packagePin),
});

const answers = z.strictObject({
  toolchain: z.record(text(program), text(programVersion)),
  variables: z.record(text(variable), text(probeAnswer)),
  probes: z.record(text(probe), text(probeAnswer)),
  pack: text(digest),
  patched: text(digest).exactOptional(),
  kernelVersion: text(exactVersion),
  kernelRelease: text(kernelRelease),
  versionString: text(versionStamp),
  epoch: z.int().min(0).max(latestEpoch),
  config: text(digest),
});

/** A lock as it stands in its file; the order of the keys here is their order there. */
export const lockSchema: z.ZodType<Lock> = z.strictObject({
  lock: z.literal(1),
  spec,
  inputs,
  answers: answers.exactOptional(),
});
