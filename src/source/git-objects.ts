/** Names of git's objects, worked out by ourselves (git's documentation, gitformat-hash and "Git Internals: Git Objects"). */
import { createHash, type Hash } from 'node:crypto';

import { sourceEntries } from './source-tar.ts';

type Kind = 'blob' | 'tree' | 'commit' | 'tag';

/** By what a repository names its objects. */
export type Algorithm = 'sha1' | 'sha256';

/** The algorithm that has made a name. @param name in hexadecimal */
export function algorithmOf(name: string): Algorithm {
  return name.length === 64 ? 'sha256' : 'sha1';
}

/** Lower-case hex. */
export function objectName(kind: Kind, content: Uint8Array, algorithm: Algorithm): string {
  return begun(kind, content.length, algorithm).update(content).digest('hex');
}

function begun(kind: Kind, size: number, algorithm: Algorithm): Hash {
  return createHash(algorithm).update(`${kind} ${size}\0`);
}

interface Entry {
  readonly mode: '100644' | '100755' | '120000';
  readonly name: string;
}

type Folder = Map<string, Entry | Folder>;

/**
 * The name that git has for the tree whose files are in a tar archive.
 *
 * @param path of the archive; the folder that everything lies in counts for nothing
 * @throws what `sourceEntries` throws
 */
export async function treeOfArchive(
  path: string,
  algorithm: Algorithm,
  signal: AbortSignal,
): Promise<string> {
  const root: Folder = new Map();
  for await (const { path: file, kind, executable, size, target, content } of sourceEntries(path, signal)) {
    if (kind === 'link') {
      const name = objectName('blob', Buffer.from(target), algorithm);
      place(root, file.split('/'), { mode: '120000', name });
      continue;
    }
    const hash = begun('blob', size, algorithm);
    for await (const chunk of content) hash.update(chunk);
    place(root, file.split('/'), { mode: executable ? '100755' : '100644', name: hash.digest('hex') });
  }
  return treeName(root, algorithm);
}

function place(root: Folder, path: readonly string[], entry: Entry): void {
  let folder = root;
  for (const part of path.slice(0, -1)) {
    const known = folder.get(part);
    const next: Folder = known instanceof Map ? known : new Map();
    folder.set(part, next);
    folder = next;
  }
  folder.set(path.at(-1) ?? '', entry);
}

/** Sorted by bytes, in which a folder has a slash behind its name. */
function treeName(folder: Folder, algorithm: Algorithm): string {
  const lines = [...folder].map(([name, entry]) =>
    entry instanceof Map
      ? { key: `${name}/`, name, mode: '40000', object: treeName(entry, algorithm) }
      : { key: name, name, mode: entry.mode, object: entry.name },
  );
  const content = lines
    .toSorted((one, other) => Buffer.compare(Buffer.from(one.key), Buffer.from(other.key)))
    .flatMap(({ mode, name, object }) => [Buffer.from(`${mode} ${name}\0`), Buffer.from(object, 'hex')]);
  return objectName('tree', Buffer.concat(content), algorithm);
}
