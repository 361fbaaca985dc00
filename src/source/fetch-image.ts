/** Brings the layers of a pinned image into the store. */
import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { downloadAll, type DownloadOptions } from '../host/download.ts';
import type { Host } from '../host/host.ts';
import type { RegistryImage } from '../spec/lock.ts';
import { registryCodes } from './registry-codes.ts';
import { Registry } from './registry.ts';

/**
 * Fetches what is not in the store. Where all of it is, nobody is asked.
 *
 * @throws Failure `registry/…`, and what `downloadAll` throws
 */
export async function fetchImage(
  host: Host,
  image: RegistryImage,
  options: DownloadOptions = {},
): Promise<void> {
  const missing: boolean[] = [];
  for (const { sha256 } of image.layers) missing.push(!(await host.store.has(sha256)));
  if (!missing.includes(true)) return;
  const registry = new Registry(host, image, options);
  // it says whether the image is still there, and makes the registry know us
  await registry.manifest(`sha256:${image.manifest}`).catch(async (error: unknown) => {
    throw isGone(error) ? await whereItWent(registry, image, error) : error;
  });
  const items = image.layers.map(({ sha256, size }, place) => ({
    name: `layer ${place + 1} of ${image.repository}`,
    urls: [registry.blobUrl(sha256)],
    sha256,
    size,
  }));
  await downloadAll(host, 'fetching the image', items, { ...options, headers: () => registry.headers() });
}

function isGone(error: unknown): error is Failure {
  return error instanceof Failure && error.diagnostics[0]?.code === 'registry/no-such-image';
}

/** A registry forgets an image when its tag is given to another one. */
async function whereItWent(registry: Registry, image: RegistryImage, gone: Failure): Promise<Failure> {
  if (image.tag === undefined) return gone;
  const now = await registry.manifest(image.tag).catch((error: unknown) => {
    if (error instanceof Failure) return undefined;
    throw error;
  });
  if (!now) return gone;
  const name = quoted(`${image.registry}/${image.repository}:${image.tag}`, 200);
  return new Failure(
    registryCodes.report('registry/moved', {
      message: `${name} leads to another image than the one that was pinned, which the registry no longer has`,
      notes: [`Pinned: sha256:${image.index ?? image.manifest}.`, `The tag leads to sha256:${now.sha256}.`],
      help:
        'Look at what has changed and pin that (quern pin --refresh packages), or push the image of before from ' +
        'wherever it still is.',
    }),
    { cause: gone },
  );
}
