/** The configurations that Debian builds its kernels with: files `config.ARCH_FEATURES_FLAVOUR.xz` of `linux-config-VERSION`. */
import { createHash } from 'node:crypto';

import { Failure } from '../diagnostics/catalogue.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { PackageIndex } from '../environment/package-index.ts';
import { download } from '../host/download.ts';
import type { Host } from '../host/host.ts';
import { archiveUrls } from '../kit/input-files.ts';
import type { Origin, PackagedConfigPin } from '../spec/lock.ts';
import { sourceCodes } from './codes.ts';
import { pinOf } from './pin-packages.ts';
import { debianFiles } from './source-tar.ts';
import { unpackedFile } from './unpacked-file.ts';

/** A configuration has a third of a megabyte. */
const largestConfig = 16 << 20;

/** What the archive has, and where. */
interface Archive {
  readonly origins: Readonly<Record<string, Origin>>;
  readonly index: PackageIndex;
}

/**
 * Pins a configuration out of a package, with what is in it.
 *
 * @param archive that of the configuration's own architecture
 * @throws Failure `source/no-debian-config`, and what fetching throws
 */
export async function pinDebianConfig(
  host: Host,
  { origins, index }: Archive,
  { package: name, config }: { readonly package: string; readonly config: string },
): Promise<PackagedConfigPin> {
  const record = index.candidates.get(name);
  if (!record) {
    const there = [...index.candidates.keys()].filter((one) => one.startsWith('linux-config-')).sort();
    throw absent(
      `the release has no package ${quoted(name)} for ${index.architecture}`,
      `The release has: ${there.length > 0 ? there.join(', ') : 'none'}.`,
      'Name one of these in config.base, or take another release (environment.debian).',
    );
  }
  const pin = { package: name, version: record.version, config, ...pinOf(record) };
  const content = await unpackConfig(host, origins, pin);
  return { ...pin, content: createHash('sha256').update(content).digest('hex') };
}

/**
 * The configuration that a lock pins. The package is fetched where the store does not have it.
 *
 * @throws Failure `source/no-debian-config`, `source/altered`, and what fetching throws
 */
export async function readDebianConfig(
  host: Host,
  origins: Readonly<Record<string, Origin>>,
  pin: PackagedConfigPin,
): Promise<Uint8Array> {
  const content = await unpackConfig(host, origins, pin);
  const found = createHash('sha256').update(content).digest('hex');
  if (found === pin.content) return content;
  throw new Failure(
    sourceCodes.report('source/altered', {
      message: `the configuration ${pin.config} of ${pin.package} ${pin.version} is not the one that was pinned`,
      notes: [`The lock has ${pin.content}, and what is in the package of the lock has ${found}.`],
      help: 'The lock was altered: bring it back, or pin again (quern pin --refresh all).',
    }),
  );
}

async function unpackConfig(
  host: Host,
  origins: Readonly<Record<string, Origin>>,
  pin: Omit<PackagedConfigPin, 'content'>,
): Promise<Uint8Array> {
  const { package: name, version, config, origin, path, size, sha256 } = pin;
  const urls = archiveUrls({ origins }, origin, path);
  const held = await download(host, { name: `${name} ${version}`, urls, size, sha256 });
  const files = await debianFiles(held, `usr/src/${name}/`, largestConfig, host.signal);
  const file = files.get(`config.${config}.xz`);
  if (file) return unpackedFile(file, largestConfig);
  const there = [...files.keys()].flatMap((one) => /^config\.(.+)\.xz$/.exec(one)?.[1] ?? []).sort();
  const meant = nearest(config, there);
  throw absent(
    `${name} ${version} has no configuration ${quoted(config)}`,
    `It has: ${there.length > 0 ? there.join(', ') : 'none'}.`,
    meant === undefined ? 'Name one of these in config.base.' : `Did you mean \`${meant}\`?`,
  );
}

function absent(message: string, note: string, help: string): Failure {
  return new Failure(sourceCodes.report('source/no-debian-config', { message, notes: [note], help }));
}
