/** Small images, layer by layer, and how they get into a registry. */
import { spawnSync } from 'node:child_process';
import { gzipSync } from 'node:zlib';
import { buffer } from 'node:stream/consumers';
import { pack } from 'tar-stream';

import { pushBlob, pushManifest, sha256, type PushedBlob } from '../oracle/registry.ts';

/** Path to content; a path with a slash at its end is a folder, `{ link }` a symbolic link. */
export type Layer = Readonly<Record<string, string | { readonly link: string }>>;

export type Packing = 'tar' | 'tar+gzip' | 'tar+zstd';

export async function tarOf(layer: Layer): Promise<Buffer> {
  const tar = pack();
  for (const [name, content] of Object.entries(layer)) {
    if (typeof content !== 'string') tar.entry({ name, type: 'symlink', linkname: content.link });
    else if (name.endsWith('/')) tar.entry({ name, type: 'directory' });
    else tar.entry({ name }, content);
  }
  tar.finalize();
  return buffer(tar);
}

const pressed: Readonly<Record<Packing, (bytes: Buffer) => Buffer>> = {
  tar: (bytes) => bytes,
  'tar+gzip': (bytes) => gzipSync(bytes),
  'tar+zstd': (bytes) => spawnSync('zstd', ['-q', '-c'], { input: bytes, maxBuffer: 1 << 28 }).stdout,
};

/** The formats of today, and those they go back to. */
const kinds = {
  oci: {
    index: 'application/vnd.oci.image.index.v1+json',
    manifest: 'application/vnd.oci.image.manifest.v1+json',
    config: 'application/vnd.oci.image.config.v1+json',
    layer: (packing: Packing) => `application/vnd.oci.image.layer.v1.${packing}`,
  },
  docker: {
    index: 'application/vnd.docker.distribution.manifest.list.v2+json',
    manifest: 'application/vnd.docker.distribution.manifest.v2+json',
    config: 'application/vnd.docker.container.image.v1+json',
    layer: (packing: Packing) => `application/vnd.docker.image.rootfs.diff.${packing.replace('+', '.')}`,
  },
} as const;

export interface ImageShape {
  readonly layers: readonly Layer[];
  readonly packing?: Packing;
  readonly format?: keyof typeof kinds;
  readonly os?: string;
  readonly architecture?: string;
  /** What the configuration says that the layers unpack to. */
  readonly unpacked?: readonly string[];
}

/** Pushes an image under a tag. */
export async function pushImage(
  url: string,
  repository: string,
  tag: string,
  shape: ImageShape,
): Promise<PushedBlob & { readonly layers: readonly PushedBlob[] }> {
  const { packing = 'tar+gzip', format = 'oci', os = 'linux', architecture = 'amd64' } = shape;
  const kind = kinds[format];
  const tars = await Promise.all(shape.layers.map(tarOf));
  const diffIds = shape.unpacked ?? tars.map((tar) => `sha256:${sha256(tar)}`);
  const rootfs = { type: 'layers', diff_ids: diffIds };
  const config = await pushBlob(
    url,
    repository,
    Buffer.from(JSON.stringify({ os, architecture, config: {}, rootfs })),
  );
  const layers: PushedBlob[] = [];
  for (const tar of tars) layers.push(await pushBlob(url, repository, pressed[packing](tar)));
  const pushed = await pushManifest(url, repository, tag, {
    schemaVersion: 2,
    mediaType: kind.manifest,
    config: { mediaType: kind.config, ...config },
    layers: layers.map((layer) => ({ mediaType: kind.layer(packing), ...layer })),
  } as { mediaType: string });
  return { ...pushed, layers };
}

/** Pushes a list of manifests, which are there already. */
export async function pushIndex(
  url: string,
  repository: string,
  tag: string,
  manifests: readonly (PushedBlob & { readonly os: string; readonly architecture: string })[],
  format: keyof typeof kinds = 'oci',
): Promise<PushedBlob> {
  return pushManifest(url, repository, tag, {
    schemaVersion: 2,
    mediaType: kinds[format].index,
    manifests: manifests.map(({ digest, size, os, architecture }) => ({
      mediaType: kinds[format].manifest,
      digest,
      size,
      platform: { os, architecture },
    })),
  } as { mediaType: string });
}

const stanza = (name: string, version: string, state = 'install ok installed'): string =>
  `Package: ${name}\nStatus: ${state}\nArchitecture: amd64\nVersion: ${version}\n\n`;

/** As much of a Debian system as is looked at. */
export const otterSystem: Layer = {
  'usr/lib/os-release':
    'PRETTY_NAME="Debian GNU/Linux 12 (bookworm)"\nVERSION_CODENAME=bookworm\nID=debian\n',
  'etc/os-release': { link: '../usr/lib/os-release' },
  'var/lib/dpkg/status': stanza('dpkg', '1.21.22') + stanza('libc6', '2.36-9'),
};
