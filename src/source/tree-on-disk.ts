/** A kernel tree in a folder of this machine, as the Kconfig engine reads it. */
import { createReadStream, readdirSync, readFileSync } from 'node:fs';
import { lstat, readdir, readlink } from 'node:fs/promises';
import { join } from 'node:path';
import { Readable } from 'node:stream';

import type { Host } from '../host/host.ts';
import type { ListedFiles } from '../kconfig/base-recipe.ts';
import { isPackPath, type Pack } from '../kconfig/pack.ts';
import { localFailure } from './local-failure.ts';
import { collectPack } from './read-pack.ts';
import type { SourceEntry } from './source-tar.ts';

/** Reads files when they are asked for, and none outside of the tree by its path. */
export function treeOnDisk(folder: string): ListedFiles {
  return {
    list(path) {
      if (path !== '' && !isPackPath(path)) return [];
      try {
        return readdirSync(join(folder, path));
      } catch {
        return [];
      }
    },
    read(path) {
      if (!isPackPath(path)) return undefined;
      try {
        return readFileSync(join(folder, path), 'latin1');
      } catch {
        return undefined;
      }
    },
  };
}

/**
 * The pack of a tree, for what needs all of its files together. It says that it is of no source.
 *
 * @param folder absolute path
 * @throws Failure `source/local-file`, and what `collectPack` throws
 */
export async function packOfTree(host: Host, folder: string): Promise<Pack> {
  try {
    return await collectPack(
      { name: folder, entries: (wanted) => treeEntries(host, folder, wanted) },
      '0'.repeat(64),
    );
  } catch (error) {
    throw localFailure(error, folder, '--tree');
  }
}

async function* treeEntries(
  host: Host,
  root: string,
  wanted: (path: string) => boolean,
): AsyncGenerator<SourceEntry> {
  const queue = [''];
  for (let folder = queue.pop(); folder !== undefined; folder = queue.pop()) {
    host.signal.throwIfAborted();
    for (const found of await readdir(join(root, folder), { withFileTypes: true })) {
      const path = folder === '' ? found.name : `${folder}/${found.name}`;
      if (found.isDirectory()) queue.push(path);
      else if (wanted(path) && (found.isFile() || found.isSymbolicLink())) {
        yield await readEntry(join(root, path), path);
      }
    }
  }
}

async function readEntry(full: string, path: string): Promise<SourceEntry> {
  const stats = await lstat(full);
  const isLink = stats.isSymbolicLink();
  return {
    path,
    kind: isLink ? 'link' : 'file',
    executable: (stats.mode & 0o100) !== 0,
    size: stats.size,
    time: Math.max(0, Math.floor(stats.mtimeMs / 1000)),
    target: isLink ? await readlink(full) : '',
    content: isLink ? Readable.from([]) : createReadStream(full),
  };
}
