/** From the name of an image to the digests of all that it is made of. */
import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { FetchBytesOptions } from '../host/fetch-bytes.ts';
import type { Host } from '../host/host.ts';
import { parseImageReference, type ImageReference } from '../spec/image-reference.ts';
import type { RegistryImage } from '../spec/lock.ts';
import { readImageConfig, type Descriptor, type Manifest, type PlatformManifest } from './image-manifest.ts';
import { registryCodes } from './registry-codes.ts';
import { Registry } from './registry.ts';

type Found = Descriptor & { readonly manifest: Manifest };

/**
 * Pins an image by digest: the list of manifests that the reference leads to, the manifest for the architecture, and each
 * layer of it.
 *
 * @param text the reference
 * @param architecture as Debian calls it; for that of today's environments, images have the same name
 * @throws Failure `registry/…`, `host/forbidden-target`
 */
export async function pinImage(
  host: Host,
  text: string,
  architecture: string,
  options: FetchBytesOptions = {},
): Promise<RegistryImage> {
  const reference = parseImageReference(text);
  const { registry, repository, tag } = reference;
  host.progress.stage(`asking ${registry} for the image ${repository}`);
  const place = new Registry(host, reference, options);
  const first = await lookUp(place, reference);
  const isIndex = first.manifest.kind === 'index';
  const found = isIndex ? await choose(place, first, text, architecture) : first;
  if (found.manifest.kind !== 'image') throw unusable(text, 'its list of manifests leads to another list');
  const config = readImageConfig(await place.blob(found.manifest.config));
  if ('fault' in config) throw unusable(text, `its configuration: ${config.fault}`);
  const { os, unpacked } = config.value;
  if (os !== 'linux' || config.value.architecture !== architecture)
    throw otherPlatform(text, architecture, [`${os}/${config.value.architecture}`]);
  const { layers } = found.manifest;
  if (unpacked.length !== layers.length)
    throw unusable(text, 'its manifest and its configuration have different layers');
  return {
    registry,
    repository,
    ...(tag !== undefined && { tag }),
    ...(isIndex && { index: first.sha256 }),
    manifest: found.sha256,
    architecture,
    layers: layers.map((layer, place) => ({ ...layer, unpacked: unpacked[place] ?? '' })),
  };
}

/** A tag that stands beside a digest must still lead there: who wrote both wants to hear when it does not. */
async function lookUp(place: Registry, { tag, sha256 }: ImageReference): Promise<Found> {
  if (tag === undefined) return place.manifest(`sha256:${sha256 ?? ''}`);
  const found = await place.manifest(tag);
  if (sha256 === undefined || found.sha256 === sha256) return found;
  throw new Failure(
    registryCodes.report('registry/moved', {
      message: `the tag ${quoted(tag, 140)} no longer leads to the image that the spec names`,
      notes: [`The spec has sha256:${sha256}.`, `The tag leads to sha256:${found.sha256}.`],
      help:
        'Look at what has changed; then write the new digest into environment.image, or leave the tag out to stay ' +
        'with the image as it was.',
    }),
  );
}

async function choose(place: Registry, list: Found, text: string, architecture: string): Promise<Found> {
  const { manifest } = list;
  const all: readonly PlatformManifest[] = manifest.kind === 'index' ? manifest.manifests : [];
  const chosen = all.find((one) => one.os === 'linux' && one.architecture === architecture);
  if (!chosen) {
    // signatures and the like are listed with a platform that there is not
    const known = all.filter(({ os }) => os !== '' && os !== 'unknown');
    throw otherPlatform(
      text,
      architecture,
      known.map((one) => `${one.os}/${one.architecture}`),
    );
  }
  const found = await place.manifest(`sha256:${chosen.sha256}`);
  if (found.size !== chosen.size) throw unusable(text, 'a manifest has another size than its list says');
  return found;
}

function unusable(text: string, why: string): Failure {
  return new Failure(
    registryCodes.report('registry/bad-answer', {
      message: `the image ${quoted(text, 200)} cannot be used: ${why}`,
      help: 'Name another image, or push this one again with a tool of today.',
    }),
  );
}

function otherPlatform(text: string, architecture: string, platforms: readonly string[]): Failure {
  const made = platforms.length === 0 ? 'for no platform that it names' : `for ${platforms.join(', ')}`;
  return new Failure(
    registryCodes.report('registry/other-platform', {
      message: `the image ${quoted(text, 200)} is not made for linux/${architecture}`,
      notes: [`It is made ${made}.`],
      help: 'Name an image of this platform in environment.image.',
    }),
  );
}
