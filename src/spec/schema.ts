import * as z from 'zod';
import {
  base as baseText,
  buildIdentity,
  commitName,
  configPackage,
  debianConfig,
  filePath,
  folderPath,
  httpsUrl,
  kernelVersion,
  keyAddress,
  keyFingerprint,
  localVersion,
  optionName,
  optionText,
  patchPath,
  projectName,
  sha256Digest,
  sourcePackage,
  tagName,
  treeFragment,
  type Grammar,
} from './grammar.ts';
import { imageReference, isHost, parseImageReference } from './image-reference.ts';
import { architectureNames } from './machine-names.ts';
import type { PatchItem, SpecDocument } from './spec-document.ts';
import { debianReleases, outputKinds, releaseSites } from './spec.ts';

/** Times that every file format downstream can hold: a zip archive's clock runs from 1980 to 2107. */
export const earliestEpoch: number = Date.UTC(1980, 0, 1) / 1000;
export const latestEpoch: number = Date.UTC(2108, 0, 1) / 1000 - 1;

/** For what is read once in a process: zod would first compile a program for it, which costs more than it saves. */
export const readOnce: { readonly jitless: true } = { jitless: true };

const epochRule =
  'a time is written in UTC as 2026-01-01T00:00:00Z, or in seconds since 1970; from the year 1980 to 2107';

const snapshotRule = 'a time is written in UTC as 2026-01-01T00:00:00Z';

function text({ pattern, rule }: Grammar): z.ZodString {
  return z.string().regex(pattern, { error: rule });
}

/** Seconds of an RFC 3339 time in UTC. */
export function secondsOf(time: string): number {
  return Date.parse(time) / 1000;
}

/** Holds for what is no time at all, too: that is another rule's complaint. */
function isInBounds(time: string): boolean {
  const seconds = secondsOf(time);
  return !(seconds < earliestEpoch || seconds > latestEpoch);
}

/** Also when an item is no text at all: the other items are still worth a look. */
const anyList = {
  when: ({ value }: z.core.ParsePayload): boolean => Array.isArray(value),
};

/** A list in which nothing stands twice: a patch cannot be applied twice, and an output is made once. */
function distinct<Item extends z.ZodType>(
  item: Item,
  most: number,
  nameOf: (one: unknown) => unknown = (one) => one,
): z.ZodArray<Item> {
  return z
    .array(item)
    .max(most, { error: `it has more than ${most} items` })
    .superRefine((items, context) => {
      const seen = new Set<string>();
      for (const [index, one] of items.entries()) {
        const name = nameOf(one);
        if (typeof name !== 'string') continue;
        const plain = name.replace(/^\.\//, '');
        if (seen.has(plain)) {
          context.addIssue({ code: 'custom', path: [index], message: 'it already stands in this list' });
        }
        seen.add(plain);
      }
    }, anyList)
    .meta({ uniqueItems: true });
}

/** Each source has its own keys beside the one that names it. */
const sourceKeys = {
  debian: [],
  tarball: [],
  tree: [],
  release: ['signers', 'keyring', 'keys', 'sums'],
  url: ['sha256', 'signature', 'signers', 'keyring', 'keys'],
  git: ['tag', 'commit', 'signers', 'keyring', 'keys'],
} as const;
const sourceKinds = ['debian', 'tarball', 'tree', 'release', 'url', 'git'] as const;
const keysOfSources = ['tag', 'commit', 'sha256', 'signature', 'signers', 'keyring', 'keys', 'sums'] as const;

function kindsWith(key: (typeof keysOfSources)[number]): readonly string[] {
  return sourceKinds.filter((kind) => sourceKeys[kind].some((known) => known === key));
}

/** In a JSON Schema: these keys are there. */
function having(...keys: readonly string[]): {
  readonly properties: Record<string, object>;
  readonly required: string[];
} {
  return { properties: Object.fromEntries(keys.map((key) => [key, {}])), required: [...keys] };
}

const signersKeys = ['signers', 'keyring', 'keys'] as const;
const signed = { ...having('signers'), anyOf: [having('keyring'), having('keys')] };

const source = z
  .strictObject({
    debian: text(sourcePackage)
      .describe(
        "A Debian package that holds kernel source with Debian's patches, such as linux-source-6.1. It comes from the release named under `environment`.",
      )
      .optional(),
    tarball: text(filePath)
      .describe("A tar archive of kernel source, a path relative to the spec's folder.")
      .optional(),
    tree: text(folderPath)
      .describe("An unpacked tree of kernel source, a path relative to the spec's folder.")
      .optional(),
    release: z
      .enum(releaseSites)
      .describe('The site whose release `kernel.version` names, exactly: its tarball and its signature.')
      .optional(),
    url: z
      .union([text(httpsUrl), distinct(text(httpsUrl), 16).min(1, { error: 'at least one URL is needed' })], {
        error: `${httpsUrl.rule}; several stand in a list, in the order in which they are tried`,
      })
      .describe('Where a tar archive of kernel source is, by https; of several the first that has it.')
      .optional(),
    git: text(httpsUrl)
      .describe('A git repository with kernel source, by https; `tag` or `commit` says what of it.')
      .optional(),
    tag: text(tagName)
      .describe('The tag of the repository that is the source; the lock holds the commit that it leads to.')
      .optional(),
    commit: text(commitName)
      .describe(
        'The commit of the repository that is the source, in full; with `tag`, the one that it must lead to.',
      )
      .optional(),
    sha256: text(sha256Digest)
      .describe('The SHA-256 of what `url` has, as it is or uncompressed.')
      .optional(),
    signature: z
      .union([text(httpsUrl), text(filePath)], {
        error: `a signature is a URL (${httpsUrl.rule}) or a file (${filePath.rule})`,
      })
      .describe(
        "The OpenPGP signature of the uncompressed tar: a URL, or a path relative to the spec's folder.",
      )
      .optional(),
    signers: distinct(text(keyFingerprint), 64)
      .min(1, { error: 'at least one signer is needed' })
      .describe('Full fingerprints of the keys of which one must have signed the source.')
      .optional(),
    keyring: text(filePath)
      .describe("A file with the public keys of the signers, a path relative to the spec's folder.")
      .optional(),
    keys: distinct(text(keyAddress), 16)
      .min(1, { error: 'at least one address is needed' })
      .describe('Addresses of the signers, whose domains publish their keys (Web Key Directory).')
      .optional(),
    sums: text(keyFingerprint)
      .describe(
        "Full fingerprint of the key that signs the site's list of digests (sha256sums.asc), which then must name the tarball as well.",
      )
      .optional(),
  })
  .superRefine((one, context) => {
    const complain = (message: string, ...path: string[]): void =>
      context.addIssue({ code: 'custom', path, message });
    const kinds = sourceKinds.filter((kind) => one[kind] !== undefined);
    const [kind] = kinds;
    if (kind === undefined || kinds.length > 1)
      return complain(
        `a kernel has exactly one source: ${sourceKinds.map((name) => `\`${name}\``).join(', ')}`,
      );
    for (const key of keysOfSources) {
      if (one[key] !== undefined && !kindsWith(key).includes(kind))
        complain(`a source of the kind \`${kind}\` has no \`${key}\``, key);
    }
    const wanted = signersKeys.some((key) => one[key] !== undefined);
    const signed = kind === 'release' || one.signature !== undefined || (kind === 'git' && wanted);
    if (kind === 'git' && one.tag === undefined && one.commit === undefined)
      complain('what of the repository is the source must be named: `tag`, `commit`, or both');
    if (kind === 'git' && one.tag === undefined && wanted)
      complain('signers sign tags, and there is no `tag` that they could have signed');
    if (kind === 'url' && one.sha256 === undefined && one.signature === undefined)
      complain('what a URL has must be known by `sha256`, by `signature`, or both');
    if (signed && one.signers === undefined) complain('whose signature counts must be named: `signers`');
    if (signed && one.keyring === undefined && one.keys === undefined)
      complain('where the keys of the signers are must be named: `keyring`, or `keys`');
    for (const key of signersKeys)
      if (!signed && one[key] !== undefined) complain('there is no `signature` that it could be for', key);
  })
  .meta({
    oneOf: sourceKinds.map((kind) => having(kind)),
    dependentSchemas: {
      ...Object.fromEntries(
        keysOfSources.map((key) => [key, { anyOf: kindsWith(key).map((kind) => having(kind)) }]),
      ),
      release: signed,
      signature: { ...having('url'), allOf: [signed] },
      url: { anyOf: [having('sha256'), having('signature')] },
      git: { anyOf: [having('tag'), having('commit')] },
      ...Object.fromEntries(
        signersKeys.map((key) => [
          key,
          { anyOf: [having('release'), having('signature'), having('git', 'tag')], allOf: [signed] },
        ]),
      ),
    },
  })
  .describe(
    "Where the kernel's source comes from: exactly one of `debian`, `tarball`, `tree`, `release`, `url`, `git`, and what makes the last three authentic.",
  );

const kernel = z
  .strictObject({
    version: text(kernelVersion).describe(
      'The kernel version, in quotes ("6.10" without them is the number 6.1): a series such as "6.1", of which the lock holds the exact version, or one exact version such as "6.1.192".',
    ),
    source,
  })
  .describe('Which kernel: its version, and where its source comes from.');

const optionValue = z
  .union([z.number().meta({ type: 'integer' }), text(optionText)])
  .describe(
    'y, m, n, an integer or 0x… is written as it stands; anything else, and everything in quotes, is a string.',
  );

const base = z
  .union([
    text(baseText),
    z.strictObject({
      debian: text(configPackage).describe(
        "Debian's package with the configurations of its kernels, such as linux-config-6.1, from the release named under `environment`.",
      ),
      config: text(debianConfig).describe(
        'Which of them, by architecture, feature set and flavour: amd64_none_amd64.',
      ),
    }),
    z.strictObject({
      running: text(filePath).describe(
        "Where the configuration of the machine is kept, a path relative to the spec's folder: `quern pin` writes the file where there is none.",
      ),
    }),
  ])
  .describe(
    'What the configuration starts from: defconfig, tinyconfig, allnoconfig, a named …_defconfig of the tree, or the path of a .config file, which may be compressed with gzip or xz (with a . or / in it); one of Debian as { debian: linux-config-6.1, config: amd64_none_amd64 }; that of the running machine as { running: station.config }.',
  );

const fragment = z
  .union([
    text(filePath),
    z.strictObject({
      tree: text(treeFragment).describe('A fragment of the tree, as for `make kvm_guest.config`.'),
    }),
  ])
  .describe('A file beside the spec, or a fragment of the tree as { tree: kvm_guest.config }.');

/** In braces, so that no file is called so. */
function fragmentName(item: unknown): unknown {
  return typeof item === 'object' && item !== null && 'tree' in item ? `{${String(item.tree)}}` : item;
}

const config = z
  .strictObject({
    base,
    fragments: distinct(fragment, 256, fragmentName)
      .default([])
      .describe('Files with lines of a .config, laid over the base in this order.'),
    set: z
      .record(text(optionName), optionValue)
      .default({})
      .describe('Options, without CONFIG_ in front, laid over base and fragments.'),
  })
  .describe("The kernel's configuration: the base, then each fragment, then `set`.");

const strip = z
  .int({ error: 'how many folders are left out is a whole number' })
  .min(0, { error: 'it is 0 at least' })
  .max(20, { error: 'no tree is as deep' })
  .describe('How many folders in front of its names are left out (patch -pN). Default: 1.')
  .optional();
const fuzz = z
  .int({ error: 'fuzz is a whole number of lines' })
  .min(0, { error: 'it is 0 at least' })
  .max(2, { error: 'more than 2 is no patch any more' })
  .describe(
    'How many lines of context at either end of a hunk need not be there. Default: none, since a hunk may then go to a wrong place.',
  )
  .optional();

const patch: z.ZodType<PatchItem> = z
  .union([
    text(patchPath),
    z.strictObject({
      path: text(patchPath).describe('A patch file, or a pattern such as patches/*.patch.'),
      strip,
      reverse: z.boolean().describe('The patch is taken back (patch -R).').optional(),
      fuzz,
    }),
    z.strictObject({
      series: text(filePath).describe('A quilt series: the patches that it lists lie in its folder.'),
      strip,
      fuzz,
    }),
  ])
  .describe(
    'A patch file, a pattern of files (applied in the order of their bytes), or a quilt series as { series: patches/series }.',
  );

/** What an item of `patches` names, whatever it says of how to apply it. */
function patchName(item: unknown): unknown {
  if (typeof item !== 'object' || item === null) return item;
  return 'path' in item ? item.path : 'series' in item ? item.series : undefined;
}

const environment = z
  .strictObject({
    debian: z.enum(debianReleases).describe('The Debian release whose packages the kernel is built with.'),
    image: text(imageReference)
      .refine((image) => !imageReference.pattern.test(image) || isHost(parseImageReference(image).registry), {
        error: 'the host of an image is one that a URL can have',
      })
      .describe(
        'An image of that release to begin with, as [HOST[:PORT]/]NAME[:TAG][@sha256:DIGEST]; packages that it lacks are put on top. Default: the packages alone.',
      )
      .optional(),
    snapshot: z.iso
      .datetime({ precision: 0, error: snapshotRule })
      .describe(
        'Packages as the archive had them at this time, in UTC (2026-01-01T00:00:00Z). Default: as it has them when the spec is pinned.',
      )
      .optional(),
    gcc: z
      .int({ error: 'the major version of gcc is a whole number' })
      .min(4, { error: 'gcc 4 is the oldest' })
      .max(99, { error: 'there is no such gcc' })
      .describe("The major version of gcc. Default: the release's own.")
      .optional(),
    llvm: z
      .int({ error: 'the major version of clang is a whole number' })
      .min(9, { error: 'clang 9 is the oldest in a release of Debian that is known here' })
      .max(99, { error: 'there is no such clang' })
      .describe('The major version of clang, which compiles with its own tools (make LLVM=1) instead of gcc.')
      .optional(),
  })
  .refine(({ gcc, llvm }) => gcc === undefined || llvm === undefined, {
    error: 'one compiler is enough: `gcc` or `llvm`',
  })
  .meta({ not: { required: ['gcc', 'llvm'], properties: { gcc: {}, llvm: {} } } })
  .describe('What the kernel is built in.');

const epoch = z.union(
  [
    z
      .int({ error: epochRule })
      .min(earliestEpoch, { error: epochRule })
      .max(latestEpoch, { error: epochRule }),
    z.iso.datetime({ precision: 0, error: epochRule }).refine(isInBounds, { error: epochRule }),
  ],
  { error: epochRule },
);

const build = z
  .strictObject({
    user: text(buildIdentity).default('builder').describe("The user named in the kernel's banner."),
    host: text(buildIdentity).default('quern').describe("The host named in the kernel's banner."),
    epoch: epoch
      .describe(
        'The time of the build, in UTC (2026-01-01T00:00:00Z) or in seconds since 1970. Default: the newest time in the source.',
      )
      .optional(),
  })
  .prefault({})
  .describe('Who built the kernel and when, as the kernel itself will say.');

/** The spec as a person writes it. Each description is what an editor shows for the key. */
export const specSchema: z.ZodType<SpecDocument> = z
  .strictObject({
    quern: z.literal(1).describe('The version of this format.'),
    name: text(projectName).describe(
      'What this kernel is called in file names and records: lower-case letters, digits, dots and dashes.',
    ),
    kernel,
    arch: z
      .enum(architectureNames)
      .describe(
        'The architecture the kernel is for, as make knows it (x86_64, i386, arm64, arm, riscv, powerpc, s390, mips), or a usual name of such machines (amd64, aarch64, armhf, riscv64, ppc64le, s390x, mips64el). For powerpc and mips the configuration says which word size and byte order.',
      ),
    config,
    patches: distinct(patch, 4096, patchName).default([]).describe('Patches, applied in this order.'),
    environment,
    localversion: text(localVersion).default('').describe('Appended to the kernel release, such as -gauge.'),
    build,
    outputs: distinct(z.enum(outputKinds), outputKinds.length)
      .min(1, { error: 'a build has at least one output' })
      .default(['image', 'modules'])
      .describe(
        'What the build leaves: image (with System.map and the configuration, always), modules, vmlinux, dtbs (device trees), headers (for programs), extmod-build (what building modules outside of the tree takes), debug (debug information apart; the modules are stripped then), deb (a Debian package with image and modules).',
      ),
  })
  .meta({
    title: 'Quern spec',
    description: 'A Linux kernel to be built: its source, configuration, patches and environment.',
  });
