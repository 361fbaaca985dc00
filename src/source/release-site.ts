/** Where a site that publishes releases of the kernel has them. */
import type { ReleaseSite } from '../spec/spec.ts';

export interface ReleaseFiles {
  /** The tarball, in the order in which it is tried. */
  readonly tarballs: readonly string[];
  readonly signatures: readonly string[];
  /** The signed list of digests of the folder. */
  readonly sums: readonly string[];
}

/**
 * Base addresses, in the order in which they are tried. Releases of kernel.org are at its content network; the others are
 * the site itself and its mirrors (from memory). A machine puts others in their place with `QUERN_MIRRORS`.
 */
const sites: Readonly<Record<ReleaseSite, readonly string[]>> = {
  'kernel.org': [
    'https://cdn.kernel.org/pub/linux/kernel',
    'https://www.kernel.org/pub/linux/kernel',
    'https://mirrors.edge.kernel.org/pub/linux/kernel',
  ],
};

/** @param version exact, of three numbers; the first one of a series ends in `.0`, which its files do not say */
export function releaseFiles(site: ReleaseSite, version: string): ReleaseFiles {
  const [major = ''] = version.split('.');
  const folders = sites[site].map((base) => `${base}/v${major}.x`);
  const name = `linux-${version.replace(/^(\d+\.\d+)\.0$/, '$1')}.tar`;
  const at = (file: string): string[] => folders.map((folder) => `${folder}/${file}`);
  return {
    tarballs: [...at(`${name}.xz`), ...at(`${name}.gz`)],
    signatures: at(`${name}.sign`),
    sums: at('sha256sums.asc'),
  };
}
