/** A kernel tree in a folder of this machine, as the Kconfig engine reads it. */
import { closeSync, createReadStream, openSync, readdirSync, readSync } from 'node:fs';
import { lstat, readdir, readlink } from 'node:fs/promises';
import { join } from 'node:path';
import { Readable } from 'node:stream';

import type { Host } from '../host/host.ts';
import { isPackPath, type Pack } from '../kconfig/pack.ts';
import type { ListedFiles } from '../kconfig/tree-files.ts';
import { assertKernel, collectPack } from './collect-pack.ts';
import { localFailure } from './local-failure.ts';
import type { SourceEntry } from './source-tar.ts';

/** What an earlier build leaves in a folder; it is no part of the source. */
const leftOver = /^(?:\.config|include\/(?:config|generated)\/)/;
/** Where no Kconfig file of the tree is. */
const withoutKconfig = /^(?:Documentation|tools|include|\.git)$/;

/**
 * The same as `treeOnDisk` for a folder that has yet to prove that a kernel is in it.
 *
 * @throws Failure `source/local-file`, `source/not-a-kernel`
 */
export function kernelOnDisk(folder: string): ListedFiles {
  try {
    readdirSync(folder);
  } catch (error) {
    throw localFailure(error, folder, '--tree');
  }
  const tree = treeOnDisk(folder);
  assertKernel(folder, (path) => tree.read(path) !== undefined);
  return tree;
}

/** A tree whose files are read when they are asked for, and none outside of it by its path. @param folder absolute path */
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
      if (!isPackPath(path) || leftOver.test(path)) return undefined;
      try {
        return readLatin1(`${folder}/${path}`);
      } catch {
        return undefined;
      }
    },
    paths: () => kconfigFiles(folder, ''),
  };
}

function* kconfigFiles(root: string, folder: string): Generator<string> {
  for (const found of readdirSync(join(root, folder), { withFileTypes: true })) {
    const path = folder === '' ? found.name : `${folder}/${found.name}`;
    if (found.isDirectory() && !withoutKconfig.test(path)) yield* kconfigFiles(root, path);
    else if (found.name.startsWith('Kconfig')) yield path;
  }
}

let buffer = Buffer.allocUnsafe(1 << 18);

/** A file's bytes, one character each. A tree has a thousand small ones: `readFileSync` takes half as long again. */
function readLatin1(path: string): string {
  const file = openSync(path, 'r');
  try {
    let length = 0;
    for (;;) {
      const count = readSync(file, buffer, length, buffer.length - length, null);
      if (count === 0) return buffer.toString('latin1', 0, length);
      length += count;
      if (length === buffer.length) buffer = Buffer.concat([buffer], 2 * length);
    }
  } finally {
    closeSync(file);
  }
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
