/** The git tree that an archive holds. */
import { quoted } from '../diagnostics/printable.ts';
import { UnsafeArchive } from '../host/tar-members.ts';
import { objectHash, objectName } from './git-objects.ts';
import { sourceEntries } from './source-tar.ts';

interface Entry {
  readonly mode: '100644' | '100755' | '120000';
  readonly name: string;
}

type Folder = Map<string, Entry | Folder>;

export interface ArchivedTree {
  /** The name that git has for the tree whose files are in the archive. */
  readonly tree: string;
  /** The times of its files, in seconds since 1970. */
  readonly times: ReadonlySet<number>;
}

/**
 * What a tar archive is, in git's terms. The folder that everything lies in counts for nothing.
 *
 * @param path of the archive
 * @throws UnsafeArchive also when it has anything but files, folders and symbolic links, or one of them twice
 * @throws what `sourceEntries` throws
 */
export async function treeOfArchive(path: string, signal: AbortSignal): Promise<ArchivedTree> {
  const root: Folder = new Map();
  const times = new Set<number>();
  const entries = sourceEntries(path, signal, { exact: true });
  for await (const { path: file, kind, executable, size, time, target, content } of entries) {
    times.add(time);
    if (kind === 'link') {
      place(root, file, { mode: '120000', name: objectName('blob', Buffer.from(target)) });
      continue;
    }
    const hash = objectHash('blob', size);
    for await (const chunk of content) hash.update(chunk);
    place(root, file, { mode: executable ? '100755' : '100644', name: hash.digest('hex') });
  }
  return { tree: treeName(root), times };
}

function place(root: Folder, path: string, entry: Entry): void {
  const parts = path.split('/');
  let folder = root;
  for (const part of parts.slice(0, -1)) {
    const known = folder.get(part) ?? new Map<string, Entry | Folder>();
    if (!(known instanceof Map)) throw twice(path);
    folder.set(part, known);
    folder = known;
  }
  const last = parts.at(-1) ?? '';
  if (folder.has(last)) throw twice(path);
  folder.set(last, entry);
}

function twice(path: string): UnsafeArchive {
  return new UnsafeArchive(`it has ${quoted(path, 160)} more than once`);
}

/** Sorted by bytes, in which a folder has a slash behind its name. */
function treeName(folder: Folder): string {
  const lines = [...folder].map(([name, entry]) =>
    entry instanceof Map
      ? { key: `${name}/`, name, mode: '40000', object: treeName(entry) }
      : { key: name, name, mode: entry.mode, object: entry.name },
  );
  const content = lines
    .toSorted((one, other) => Buffer.compare(Buffer.from(one.key), Buffer.from(other.key)))
    .flatMap(({ mode, name, object }) => [Buffer.from(`${mode} ${name}\0`), Buffer.from(object, 'hex')]);
  return objectName('tree', Buffer.concat(content));
}
