import * as z from 'zod';
import {
  base,
  buildIdentity,
  filePath,
  folderPath,
  kernelVersion,
  localVersion,
  optionName,
  optionText,
  projectName,
  sourcePackage,
  type Grammar,
} from './grammar.ts';
import type { SpecDocument } from './spec-document.ts';
import { architectures, debianReleases, outputKinds } from './spec.ts';

/** Times that every file format downstream can hold: a zip archive's clock runs from 1980 to 2107. */
export const earliestEpoch: number = Date.UTC(1980, 0, 1) / 1000;
export const latestEpoch: number = Date.UTC(2108, 0, 1) / 1000 - 1;

const epochRule =
  'a time is written in UTC as 2026-01-01T00:00:00Z, or in seconds since 1970; from the year 1980 to 2107';

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
function distinct<Item extends z.ZodType<string>>(item: Item, most: number): z.ZodArray<Item> {
  return z
    .array(item)
    .max(most, { error: `it has more than ${most} items` })
    .superRefine((items, context) => {
      const seen = new Set<string>();
      for (const [index, one] of items.entries()) {
        if (typeof one !== 'string') continue;
        const plain = one.replace(/^\.\//, '');
        if (seen.has(plain)) {
          context.addIssue({ code: 'custom', path: [index], message: 'it already stands in this list' });
        }
        seen.add(plain);
      }
    }, anyList)
    .meta({ uniqueItems: true });
}

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
  })
  .refine((one) => Object.values(one).filter((value) => value !== undefined).length === 1, {
    error: 'a kernel has exactly one source: `debian`, `tarball` or `tree`',
  })
  .meta({ minProperties: 1, maxProperties: 1 })
  .describe("Where the kernel's source comes from: exactly one of `debian`, `tarball`, `tree`.");

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

const config = z
  .strictObject({
    base: text(base).describe(
      'What the configuration starts from: defconfig, tinyconfig, allnoconfig, a named …_defconfig of the tree, or the path of a .config file, which may be compressed with gzip or xz (with a . or / in it).',
    ),
    fragments: distinct(text(filePath), 256)
      .default([])
      .describe('Files with lines of a .config, laid over the base in this order.'),
    set: z
      .record(text(optionName), optionValue)
      .default({})
      .describe('Options, without CONFIG_ in front, laid over base and fragments.'),
  })
  .describe("The kernel's configuration: the base, then each fragment, then `set`.");

const environment = z
  .strictObject({
    debian: z.enum(debianReleases).describe('The Debian release whose packages the kernel is built with.'),
    gcc: z
      .int({ error: 'the major version of gcc is a whole number' })
      .min(4, { error: 'gcc 4 is the oldest' })
      .max(99, { error: 'there is no such gcc' })
      .describe("The major version of gcc. Default: the release's own.")
      .optional(),
  })
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
    arch: z.enum(architectures).describe('The architecture the kernel is for.'),
    config,
    patches: distinct(text(filePath), 4096)
      .default([])
      .describe('Patch files, applied in this order, with no fuzz.'),
    environment,
    localversion: text(localVersion).default('').describe('Appended to the kernel release, such as -gauge.'),
    build,
    outputs: distinct(z.enum(outputKinds), outputKinds.length)
      .min(1, { error: 'a build has at least one output' })
      .default(['image', 'modules'])
      .describe('What the build leaves: image, modules, vmlinux.'),
  })
  .meta({
    title: 'Quern spec',
    description: 'A Linux kernel to be built: its source, configuration, patches and environment.',
  });
