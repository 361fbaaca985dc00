/**
 * Writing cpio archives in the "newc" form that the kernel unpacks as its initramfs: a 110-byte ASCII header per
 * entry, the name with its NUL padded to four bytes, the data padded to four bytes, and an entry called TRAILER!!!.
 * Source: the kernel's Documentation/driver-api/early-userspace/buffer-format.rst.
 *
 * Same entries, same bytes: entries are sorted by name, inode numbers count up from 1, every time and owner is 0.
 */

interface EntryName {
  /** Relative, `/` between parts, no `.` or `..` part. */
  readonly path: string;
}

export interface CpioDirectory extends EntryName {
  readonly kind: 'directory';
  /** Permission bits, 0o755 when absent. */
  readonly mode?: number;
}

export interface CpioFile extends EntryName {
  readonly kind: 'file';
  readonly bytes: Uint8Array;
  /** Permission bits, 0o644 when absent. */
  readonly mode?: number;
}

export interface CpioSymlink extends EntryName {
  readonly kind: 'symlink';
  /** Not empty: the kernel refuses an empty one. */
  readonly target: string;
}

export interface CpioNode extends EntryName {
  readonly kind: 'character-device' | 'block-device';
  readonly major: number;
  readonly minor: number;
  /** Permission bits, 0o600 when absent. */
  readonly mode?: number;
}

export type CpioEntry = CpioDirectory | CpioFile | CpioSymlink | CpioNode;

/** File type bits of `st_mode`, stat(2). */
const fileTypes = {
  directory: 0o040000,
  file: 0o100000,
  symlink: 0o120000,
  'character-device': 0o020000,
  'block-device': 0o060000,
} as const;

const trailer = 'TRAILER!!!';
/** Readers take archives in blocks of this size; zero bytes after the trailer are allowed. */
const blockSize = 512;
/** `PATH_MAX` of the kernel, with the NUL: init/initramfs.c skips longer names. */
const longestName = 4096;

/**
 * Builds the archive of `entries`, in bytewise order of their names, which puts a directory before what lies in it.
 * Directories that are not among the entries are not made up.
 *
 * Throws a RangeError for a name that is unusable or comes twice, and for numbers that do not fit the header's fields:
 * whoever calls this chose them.
 */
export function writeCpio(entries: readonly CpioEntry[]): Uint8Array {
  const named = entries.map((entry) => ({ entry, name: encodeName(entry.path) }));
  named.sort((a, b) => compareBytes(a.name, b.name));
  const parts: Uint8Array[] = [];
  for (const [index, { entry, name }] of named.entries()) {
    const before = named[index - 1];
    if (before && compareBytes(before.name, name) === 0) {
      throw new RangeError(`cpio: two entries are called ${JSON.stringify(entry.path)}`);
    }
    parts.push(...encodeEntry(entry, name, index + 1));
  }
  parts.push(...encodeMember({ inode: 0, mode: 0, links: 1 }, encoder.encode(trailer), nothing));
  return concatenate(parts, blockSize);
}

const encoder = new TextEncoder();
const nothing = new Uint8Array(0);

function encodeName(path: string): Uint8Array {
  const parts = path.split('/');
  if (
    path === trailer ||
    path.includes('\0') ||
    parts.some((one) => one === '' || one === '.' || one === '..')
  ) {
    throw new RangeError(`cpio: ${JSON.stringify(path)} cannot name an entry`);
  }
  const bytes = encoder.encode(path);
  if (bytes.length >= longestName) throw new RangeError(`cpio: a name of ${bytes.length} bytes is too long`);
  return bytes;
}

interface Fields {
  readonly inode: number;
  readonly mode: number;
  readonly links: number;
  readonly major?: number;
  readonly minor?: number;
}

function encodeEntry(entry: CpioEntry, name: Uint8Array, inode: number): Uint8Array[] {
  const type = fileTypes[entry.kind];
  switch (entry.kind) {
    case 'directory':
      return encodeMember({ inode, mode: type | permissions(entry.mode ?? 0o755), links: 2 }, name, nothing);
    case 'file':
      return encodeMember(
        { inode, mode: type | permissions(entry.mode ?? 0o644), links: 1 },
        name,
        entry.bytes,
      );
    case 'symlink': {
      if (entry.target === '' || entry.target.includes('\0')) {
        throw new RangeError(`cpio: ${JSON.stringify(entry.target)} cannot be the target of a symlink`);
      }
      return encodeMember({ inode, mode: type | 0o777, links: 1 }, name, encoder.encode(entry.target));
    }
    case 'character-device':
    case 'block-device': {
      const { major, minor } = entry;
      const mode = type | permissions(entry.mode ?? 0o600);
      return encodeMember({ inode, mode, links: 1, major, minor }, name, nothing);
    }
  }
}

function permissions(mode: number): number {
  if (!Number.isInteger(mode) || mode < 0 || mode > 0o7777) {
    throw new RangeError(`cpio: ${mode} are no permission bits`);
  }
  return mode;
}

function encodeMember(fields: Fields, name: Uint8Array, data: Uint8Array): Uint8Array[] {
  const header = [
    fields.inode,
    fields.mode,
    0, // uid
    0, // gid
    fields.links,
    0, // mtime
    data.length,
    0, // major and minor number of the device the file was on
    0,
    fields.major ?? 0,
    fields.minor ?? 0,
    name.length + 1,
    0, // checksum: only of the "crc" form, magic 070702
  ];
  const head = encoder.encode(`070701${header.map(hex8).join('')}`);
  return [
    head,
    name,
    zeros(1 + padding(head.length + name.length + 1, 4)),
    data,
    zeros(padding(data.length, 4)),
  ];
}

function hex8(value: number): string {
  if (!Number.isInteger(value) || value < 0 || value > 0xffffffff) {
    throw new RangeError(`cpio: ${value} does not fit 32 bits`);
  }
  return value.toString(16).toUpperCase().padStart(8, '0');
}

function padding(length: number, to: number): number {
  return (to - (length % to)) % to;
}

function zeros(length: number): Uint8Array {
  return new Uint8Array(length);
}

function compareBytes(a: Uint8Array, b: Uint8Array): number {
  const shared = Math.min(a.length, b.length);
  for (let at = 0; at < shared; at += 1) {
    const difference = (a[at] ?? 0) - (b[at] ?? 0);
    if (difference !== 0) return difference;
  }
  return a.length - b.length;
}

function concatenate(parts: readonly Uint8Array[], block: number): Uint8Array {
  const length = parts.reduce((sum, part) => sum + part.length, 0);
  const out = new Uint8Array(length + padding(length, block));
  let at = 0;
  for (const part of parts) {
    out.set(part, at);
    at += part.length;
  }
  return out;
}
