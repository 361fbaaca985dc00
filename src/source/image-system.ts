/** The Debian system in an image: what is installed in it, and whether packages of a release can be added. */
import { readInstalled } from '../environment/installed.ts';
import type { PackageRecord } from '../environment/package-record.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import type { RegistryImage } from '../spec/lock.ts';
import type { DebianRelease } from '../spec/spec.ts';
import { readImageFiles } from './image-layers.ts';
import { registryCodes } from './registry-codes.ts';

const database = 'var/lib/dpkg/status';
/** os-release(5); the one in /etc is a link to the other, as a rule. */
const osReleases = ['usr/lib/os-release', 'etc/os-release'];

/**
 * What is installed in an image, whose layers are in the store.
 *
 * @throws Failure `registry/unfit`, and what `readImageFiles` throws
 */
export async function readImageSystem(
  host: Host,
  image: RegistryImage,
  release: DebianRelease,
): Promise<readonly PackageRecord[]> {
  const files = await readImageFiles(host, image, [database, ...osReleases]);
  const status = files.get(database);
  if (!status || status.length === 0)
    throw unfit(image, `it has no database of dpkg (/${database})`, [
      'Packages are added by the dpkg of the image itself.',
    ]);
  assertRelease(image, osReleases.map((path) => files.get(path)).find(Boolean), release);
  const { records, faults } = readInstalled(status, image.architecture);
  if (faults.length > 0) throw unfit(image, 'the database of its dpkg is not in order', faults);
  if (!records.some((record) => record.package === 'dpkg')) throw unfit(image, 'it has no dpkg', []);
  return records;
}

function assertRelease(image: RegistryImage, file: Uint8Array | undefined, release: DebianRelease): void {
  if (!file) throw unfit(image, 'it does not say which system it is (/etc/os-release)', []);
  const text = new TextDecoder().decode(file);
  const value = (name: string): string => new RegExp(`^${name}="?([^"\n]*)"?$`, 'm').exec(text)?.[1] ?? '';
  const [system, codename] = [value('ID'), value('VERSION_CODENAME')];
  if (system === 'debian' && codename === release) return;
  const found = [system, codename].filter((part) => part !== '').join(' ') || 'nothing that it tells';
  throw unfit(image, `it is ${quoted(found)}, and the spec says debian ${release}`, [
    'Packages of one release do not go with the libraries of another.',
  ]);
}

function unfit(image: RegistryImage, why: string, notes: readonly string[]): Failure {
  const name = quoted(`${image.registry}/${image.repository}`, 200);
  return new Failure(
    registryCodes.report('registry/unfit', {
      message: `the image ${name} is no system that packages can be added to: ${why}`,
      notes,
      help: 'Name an image of the release in environment.image, or leave it out: the packages alone make an environment, too.',
    }),
  );
}
