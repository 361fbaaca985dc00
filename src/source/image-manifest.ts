/**
 * What a registry hands out of an image, checked: the list of its manifests, a manifest, its configuration.
 * Sources: OCI image specification 1.1 (image-index.md, manifest.md, config.md, descriptor.md) and the formats that it
 * goes back to (image manifest version 2, schema 2), which many registries still hand out.
 */
import * as z from 'zod';

import type { LayerPin } from '../spec/lock.ts';

/** Something in the registry that a manifest points to. */
export interface Descriptor {
  readonly sha256: string;
  /** Bytes. */
  readonly size: number;
}

export interface PlatformManifest extends Descriptor {
  readonly os: string;
  readonly architecture: string;
}

export type Manifest =
  | { readonly kind: 'index'; readonly manifests: readonly PlatformManifest[] }
  | {
      readonly kind: 'image';
      readonly config: Descriptor;
      readonly layers: readonly (Descriptor & Pick<LayerPin, 'compression'>)[];
    };

export interface ImageConfig {
  readonly os: string;
  readonly architecture: string;
  /** SHA-256 of each layer, unpacked. */
  readonly unpacked: readonly string[];
}

export type Reading<Value> = { readonly value: Value } | { readonly fault: string };

const oci = 'application/vnd.oci.image';
const docker = 'application/vnd.docker';

const indexTypes: readonly string[] = [
  `${oci}.index.v1+json`,
  `${docker}.distribution.manifest.list.v2+json`,
];
const imageTypes: readonly string[] = [`${oci}.manifest.v1+json`, `${docker}.distribution.manifest.v2+json`];

/** What a request for a manifest says that it can read. */
export const manifestTypes: string = [...indexTypes, ...imageTypes].join(', ');

/** The specification asks registries to take manifests of at least this size, and most take no larger ones. */
export const mostManifestBytes: number = 4 << 20;
/** More layers than engines take: 127 is common practice. */
const mostLayers = 512;
const mostImageBytes = 16 * 1024 ** 3;

const layerTypes: Readonly<Record<string, LayerPin['compression']>> = {
  [`${oci}.layer.v1.tar`]: 'none',
  [`${oci}.layer.v1.tar+gzip`]: 'gzip',
  [`${oci}.layer.v1.tar+zstd`]: 'zstd',
  [`${docker}.image.rootfs.diff.tar`]: 'none',
  [`${docker}.image.rootfs.diff.tar.gzip`]: 'gzip',
};

const digest = z
  .string()
  .regex(/^sha256:[0-9a-f]{64}$/u, { error: 'a digest here is sha256: and 64 hexadecimal digits' });
const size = z.int().min(0).max(mostImageBytes, { error: 'no part of an image is so large' });
const descriptor = z.looseObject({ mediaType: z.string().max(256), digest, size });

const index = z.looseObject({
  schemaVersion: z.literal(2),
  manifests: z.array(
    descriptor.extend({
      platform: z.looseObject({ os: z.string().max(64), architecture: z.string().max(64) }).optional(),
    }),
  ),
});

const image = z.looseObject({
  schemaVersion: z.literal(2),
  config: descriptor.extend({ size: size.max(mostManifestBytes, { error: 'no configuration is so large' }) }),
  layers: z
    .array(descriptor)
    .min(1, { error: 'it has no layer' })
    .max(mostLayers, { error: `it has more than ${mostLayers} layers` }),
});

const config = z.looseObject({
  os: z.string().max(64),
  architecture: z.string().max(64),
  rootfs: z.looseObject({ type: z.literal('layers'), diff_ids: z.array(digest) }),
});

/** Reads a manifest, or a list of them. @param mediaType as the registry told it */
export function readManifest(bytes: Uint8Array, mediaType: string): Reading<Manifest> {
  const data = parseObject(bytes);
  if (!data) return { fault: 'it is no JSON object' };
  if (data['schemaVersion'] === 1)
    return { fault: 'it is of the format before 2016 (schema 1), which holds no digests of what is in it' };
  // one text must not be a list to one reader and an image to another
  if ('manifests' in data && ('layers' in data || 'config' in data))
    return { fault: 'it is a list of manifests and a manifest at once' };
  const told = data['mediaType'] ?? mediaType;
  if (told !== mediaType)
    return { fault: `it calls itself ${JSON.stringify(told)}, and the registry calls it ${mediaType}` };
  if (indexTypes.includes(mediaType)) return readIndex(data);
  if (imageTypes.includes(mediaType)) return readImage(data);
  return { fault: `it is of the kind ${mediaType === '' ? 'that nobody tells' : mediaType}` };
}

function readIndex(data: unknown): Reading<Manifest> {
  const { success, data: read, error } = index.safeParse(data);
  if (!success) return { fault: faultOf(error) };
  const manifests = read.manifests
    .filter(({ mediaType }) => imageTypes.includes(mediaType))
    .map((one) => ({
      ...pointed(one),
      os: one.platform?.os ?? '',
      architecture: one.platform?.architecture ?? '',
    }));
  return { value: { kind: 'index', manifests } };
}

function readImage(data: unknown): Reading<Manifest> {
  const { success, data: read, error } = image.safeParse(data);
  if (!success) return { fault: faultOf(error) };
  const layers: (Descriptor & Pick<LayerPin, 'compression'>)[] = [];
  for (const layer of read.layers) {
    const compression = Object.hasOwn(layerTypes, layer.mediaType) ? layerTypes[layer.mediaType] : undefined;
    if (compression === undefined) return { fault: `it has a layer of the kind ${layer.mediaType}` };
    layers.push({ ...pointed(layer), compression });
  }
  if (layers.reduce((sum, layer) => sum + layer.size, 0) > mostImageBytes)
    return { fault: 'its layers are larger than those of any image' };
  return { value: { kind: 'image', config: pointed(read.config), layers } };
}

export function readImageConfig(bytes: Uint8Array): Reading<ImageConfig> {
  const { success, data: read, error } = config.safeParse(parseObject(bytes));
  if (!success) return { fault: faultOf(error) };
  const { os, architecture, rootfs } = read;
  return { value: { os, architecture, unpacked: rootfs.diff_ids.map(bare) } };
}

function pointed(one: { readonly digest: string; readonly size: number }): Descriptor {
  return { sha256: bare(one.digest), size: one.size };
}

function bare(text: string): string {
  return text.slice('sha256:'.length);
}

function parseObject(bytes: Uint8Array): Readonly<Record<string, unknown>> | undefined {
  try {
    const data: unknown = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes));
    return isObject(data) ? data : undefined;
  } catch {
    return undefined;
  }
}

function isObject(data: unknown): data is Readonly<Record<string, unknown>> {
  return typeof data === 'object' && data !== null && !Array.isArray(data);
}

function faultOf(error: z.ZodError): string {
  const [issue] = error.issues;
  return issue ? `${issue.path.join('.') || 'it'}: ${issue.message}` : 'it cannot be read';
}
