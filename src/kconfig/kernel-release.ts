/** The kernel release: what `uname -r` says, and what the folder of the modules is called. */
import type { ListedFiles } from './tree-files.ts';
import { readDotConfig } from './dot-config.ts';
import { unquoteString } from './quote.ts';

/**
 * What `make kernelrelease` says (scripts/setlocalversion of 5.10 to 7.3) of a tree without version control: the version,
 * the texts of the files `localversion*`, that of the configuration, and the one on make's command line.
 *
 * @param tree the (patched) tree; of it the files at its root whose names begin with `localversion`
 * @param kernelVersion what `make kernelversion` says
 * @param config the `.config`, in latin1
 * @param localversion `LOCALVERSION=` on make's command line, which has to be there, be it empty: without it a tree out of
 *   version control gets a plus sign
 */
export function kernelRelease(
  tree: ListedFiles,
  kernelVersion: string,
  config: string,
  localversion: string,
): string {
  const ofFiles = tree
    .list('')
    // backups of editors do not count
    .filter((name) => name.startsWith('localversion') && !name.includes('~'))
    .sort()
    // a shell drops the line feeds at the end of what it takes from a program
    .map((name) => (tree.read(name) ?? '').replace(/\n+$/, ''));
  const ofConfig = unquoteString(readDotConfig(config).get('LOCALVERSION') ?? '') ?? '';
  return `${kernelVersion}${ofFiles.join('')}${ofConfig}${localversion}`;
}
