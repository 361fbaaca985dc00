/**
 * The Kconfig pack: the few thousand files of a kernel tree that a configuration hangs on, in one piece.
 *
 *     quern-kconfig-pack 3
 *     source 64 hex digits
 *     newest SECONDS
 *     keys N
 *     PATH               one line per file that may be a key, sorted in the same way; what is in it is not kept
 *     files N
 *     - SIZE PATH          one line per file, sorted by path in the order of bytes; `x` for one that may be executed
 *     …
 *     (the contents, one behind the other)
 *
 * Lines end with a line feed, numbers are decimal. A pack is not compressed: caches and web servers do that themselves,
 * and a check would spend more time on unpacking than on reading. The same files give the same bytes.
 */
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { decodeLatin1, encodeLatin1 } from './latin1.ts';
import { packCodes } from './pack-codes.ts';
import type { ListedFiles } from './tree-files.ts';

/** Goes up whenever the format changes, or which files are kept. */
export const packVersion = 3;

export interface PackFile {
  readonly content: Uint8Array;
  readonly executable: boolean;
}

/** What a pack tells of its source beside the files that it keeps. */
export interface SourceFacts {
  /** Seconds since 1970: the newest time of a file in the source; 0 when it was not looked at. */
  readonly newest: number;
  /** Paths of the files that may be keys and certificates (`isKeyFile`). */
  readonly keys: ReadonlySet<string>;
}

export interface Pack extends ListedFiles, SourceFacts {
  /** SHA-256 of the source that the files were read from, in lower-case hex. */
  readonly source: string;
  /** By path, sorted. */
  readonly files: ReadonlyMap<string, PackFile>;
}

/** The bytes of a pack, of which parts are asked for: all in memory, as a `Uint8Array` has them, or in a file. */
export interface PackBytes {
  readonly length: number;
  subarray(start: number, end: number): Uint8Array;
}

const magic = 'quern-kconfig-pack';
const digestPattern = /^[0-9a-f]{64}$/;
/** Ten times what trees have. */
const mostFiles = 50_000;
const longestPath = 1024;
/** With mode and size before the path. */
const longestLine = longestPath + 20;
/** Bytes of the head that are read at once. */
const windowSize = 64 << 10;

/** Relative, in ASCII, without empty parts, `.` and `..`, without control characters. */
export function isPackPath(path: string): boolean {
  return (
    path.length <= longestPath &&
    /^[\x20-\x7e]+$/.test(path) &&
    path.split('/').every((part) => part !== '' && part !== '.' && part !== '..')
  );
}

/** A pack of these files; `read` decodes a file when it is first asked for. */
export function createPack(
  source: string,
  files: Iterable<readonly [string, PackFile]>,
  { newest, keys }: SourceFacts = { newest: 0, keys: new Set() },
): Pack {
  return packOf(source, new Map([...files].sort(([a], [b]) => (a < b ? -1 : 1))), {
    newest,
    keys: new Set([...keys].sort()),
  });
}

/** The same of what is in order already, as it is in every pack that is read. */
function packOf(source: string, files: ReadonlyMap<string, PackFile>, { newest, keys }: SourceFacts): Pack {
  const texts = new Map<string, string>();
  return {
    source,
    newest,
    keys,
    files,
    read(path) {
      const known = texts.get(path);
      if (known !== undefined) return known;
      const file = files.get(path);
      if (!file) return undefined;
      const text = decodeLatin1(file.content);
      texts.set(path, text);
      return text;
    },
    list(folder) {
      const start = folder === '' ? '' : `${folder}/`;
      const names = new Set<string>();
      for (const path of files.keys()) {
        if (path.startsWith(start)) names.add(path.slice(start.length).split('/', 1)[0] ?? '');
      }
      return [...names];
    },
    paths: () => files.keys(),
  };
}

/** @throws RangeError when a path or the digest is none that a pack can hold */
export function encodePack(pack: Pack): Uint8Array {
  if (!digestPattern.test(pack.source)) throw new RangeError(`no SHA-256 digest: ${pack.source}`);
  const lines = [
    `${magic} ${packVersion}`,
    `source ${pack.source}`,
    `newest ${pack.newest}`,
    `keys ${pack.keys.size}`,
  ];
  for (const path of pack.keys) lines.push(checkedPath(path));
  lines.push(`files ${pack.files.size}`);
  let size = 0;
  for (const [path, { content, executable }] of pack.files) {
    lines.push(`${executable ? 'x' : '-'} ${content.length} ${checkedPath(path)}`);
    size += content.length;
  }
  const head = encodeLatin1(`${lines.join('\n')}\n`);
  const bytes = new Uint8Array(head.length + size);
  bytes.set(head);
  let at = head.length;
  for (const { content } of pack.files.values()) {
    bytes.set(content, at);
    at += content.length;
  }
  return bytes;
}

function checkedPath(path: string): string {
  if (!isPackPath(path)) throw new RangeError(`no path of a pack: ${path}`);
  return path;
}

type Decoded =
  | { readonly value: Pack; readonly diagnostics: readonly [] }
  | { readonly value: undefined; readonly diagnostics: readonly Diagnostic[] };

/**
 * Reads a pack; what is in its files is asked of `bytes` each time. Everything is checked that does not take a digest.
 *
 * @param name of the pack, for messages
 */
export function decodePack(bytes: PackBytes, name: string): Decoded {
  const bad = (why: string): Decoded => ({
    value: undefined,
    diagnostics: [
      packCodes.report('kconfig/bad-pack', {
        message: `the Kconfig pack ${quoted(name, 120)} cannot be read: ${why}`,
        help: 'Remove it: it is made again from the source.',
      }),
    ],
  });
  const lines = headLines(bytes);
  const [, version] = /^quern-kconfig-pack (\d{1,9})$/.exec(lines.next() ?? '') ?? [];
  if (version === undefined) return bad('it does not begin as one');
  if (Number(version) !== packVersion) {
    const message = `the Kconfig pack ${quoted(name, 120)} is of version ${version}, and this is version ${packVersion}`;
    const help = 'Remove it: it is made again from the source.';
    return { value: undefined, diagnostics: [packCodes.report('kconfig/pack-version', { message, help })] };
  }
  const [, source] = /^source ([0-9a-f]{64})$/.exec(lines.next() ?? '') ?? [];
  if (source === undefined) return bad('it does not say which source it is of');
  const [, newest] = /^newest (\d{1,12})$/.exec(lines.next() ?? '') ?? [];
  if (newest === undefined) return bad('it does not say how old its source is');
  const [, named] = /^keys (\d{1,6})$/.exec(lines.next() ?? '') ?? [];
  if (named === undefined || Number(named) > mostFiles) return bad('it does not say how many keys there are');
  let last = '';
  const keys = new Set<string>();
  for (let nth = 0; nth < Number(named); nth += 1) {
    const path = lines.next() ?? '';
    if (!isPackPath(path)) return bad(`${quoted(path, 120)} is no path inside a tree`);
    if (path <= last) return bad(`${quoted(path, 120)} is out of order`);
    last = path;
    keys.add(path);
  }
  const [, count] = /^files (\d{1,6})$/.exec(lines.next() ?? '') ?? [];
  if (count === undefined || Number(count) > mostFiles) return bad('it does not say how many files it has');
  const index: { readonly path: string; readonly size: number; readonly executable: boolean }[] = [];
  last = '';
  for (let nth = 1; nth <= Number(count); nth += 1) {
    const [, mode, size, path] = /^([-x]) (\d{1,9}) (.+)$/s.exec(lines.next() ?? '') ?? [];
    if (path === undefined) return bad(`line ${nth} of its index describes no file`);
    if (!isPackPath(path)) return bad(`${quoted(path, 120)} is no path inside a tree`);
    if (path <= last) return bad(`${quoted(path, 120)} is out of order`);
    last = path;
    index.push({ path, size: Number(size), executable: mode === 'x' });
  }
  let at = lines.position();
  const expected = index.reduce((sum, { size }) => sum + size, at);
  if (expected !== bytes.length) return bad(`it has ${bytes.length} bytes where its index makes ${expected}`);
  const files = new Map<string, PackFile>();
  for (const { path, size, executable } of index) {
    files.set(path, new PackedFile(bytes, at, size, executable));
    at += size;
  }
  return { value: packOf(source, files, { newest: Number(newest), keys }), diagnostics: [] };
}

/** Its content is asked for each time it is looked at, and is no property that a copy of the object would have. */
class PackedFile implements PackFile {
  readonly executable: boolean;
  readonly #bytes: PackBytes;
  readonly #at: number;
  readonly #size: number;

  constructor(bytes: PackBytes, at: number, size: number, executable: boolean) {
    this.#bytes = bytes;
    this.#at = at;
    this.#size = size;
    this.executable = executable;
  }

  get content(): Uint8Array {
    return this.#bytes.subarray(this.#at, this.#at + this.#size);
  }
}

/** The lines at the beginning, one after the other; `undefined` where there is none of reasonable length. */
function headLines(bytes: PackBytes): { next(): string | undefined; position(): number } {
  let window = bytes.subarray(0, Math.min(windowSize, bytes.length));
  let start = 0;
  let at = 0;
  return {
    next() {
      if (at + longestLine >= start + window.length) {
        start = at;
        window = bytes.subarray(start, Math.min(start + windowSize, bytes.length));
      }
      const end = window.indexOf(0x0a, at - start);
      if (end < 0 || start + end - at > longestLine) return undefined;
      const line = decodeLatin1(window.subarray(at - start, end));
      at = start + end + 1;
      return line;
    },
    position: () => at,
  };
}
