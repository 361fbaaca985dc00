/**
 * The members of a tar archive from anywhere. Nothing here writes what is in it to the disk; but something else may, and
 * an archive may have no end. So it has limits, and what it says of its members can be asked for being safe to unpack.
 */
import { Readable, pipeline } from 'node:stream';
import { extract, type Extract } from 'tar-stream';

import { quoted } from '../diagnostics/printable.ts';

/** A member as tar-stream hands it out. */
export type TarMember = Extract extends AsyncIterable<infer Source> ? Source : never;

export interface TarLimits {
  /** Of the archive, not compressed. */
  readonly bytes: number;
  readonly members: number;
}

/** An archive that nobody should unpack; the message goes behind its name: `it …`. */
export class UnsafeArchive extends Error {}

/**
 * The members of a tar archive. A content that is not read is passed over. What stands behind the archive's end is read
 * as well, and counts.
 *
 * @throws UnsafeArchive when there is more than `most`
 * @throws Error when it is no tar archive, or damaged
 * @throws the reason of `signal` when that is aborted
 */
export async function* tarMembers(
  tar: AsyncIterable<Uint8Array>,
  signal: AbortSignal,
  most: TarLimits,
): AsyncGenerator<TarMember> {
  const members = extract();
  let failure: unknown;
  pipeline(Readable.from(limited(tar, most.bytes)), members, (error) => {
    // the loop below ends with it, too
    failure = error;
  });
  let count = 0;
  for await (const member of members) {
    signal.throwIfAborted();
    count += 1;
    if (count > most.members) throw new UnsafeArchive(`it has more than ${most.members} members`);
    yield member;
    member.resume();
  }
  if (failure instanceof Error) throw failure;
}

async function* limited(tar: AsyncIterable<Uint8Array>, most: number): AsyncGenerator<Uint8Array> {
  let size = 0;
  for await (const chunk of tar) {
    size += chunk.length;
    if (size > most) throw new UnsafeArchive(`it unpacks to more than ${most} bytes`);
    yield chunk;
  }
}

/** The streams of tar-stream do not say what they carry. */
export async function* bytesOf(member: AsyncIterable<unknown>): AsyncGenerator<Uint8Array> {
  for await (const chunk of member) {
    if (!(chunk instanceof Uint8Array)) throw new TypeError('a tar stream carries bytes');
    yield chunk;
  }
}

const special: ReadonlySet<string> = new Set(['character-device', 'block-device', 'fifo']);

/**
 * Asked of each member of an archive in turn: whether it can be unpacked below some folder, and touches nothing outside of
 * it then, neither by its name, nor by where it leads, nor by being a device.
 *
 * @param strip folders at the top that it is unpacked without
 * @returns throws UnsafeArchive
 */
export function insideOnly(strip: number): (header: MemberHeader) => void {
  const links = new Set<string>();
  return ({ name, type, linkname }) => {
    const named = quoted(name, 120);
    if (type && special.has(type))
      throw new UnsafeArchive(`it has ${named}, which is a ${type.replace('-', ' ')}`);
    const parts = name.split('/').filter(isPart);
    const folders = parts.slice(0, -1).map((_, nth) => parts.slice(0, nth + 1).join('/'));
    if (name.startsWith('/') || parts.includes('..') || folders.some((folder) => links.has(folder)))
      throw new UnsafeArchive(`it has ${named}, which would be unpacked outside of its folder`);
    if (type !== 'symlink' && type !== 'link') return;
    const target = linkname ?? '';
    // a hard link counts from the top of the archive, a symbolic one from where it is
    const depth = type === 'symlink' ? Math.max(0, parts.length - 1 - strip) : 0;
    if (leaves(depth, target) || (type === 'link' && links.has(target.split('/').filter(isPart).join('/'))))
      throw new UnsafeArchive(
        `it has ${named}, a link that leads out of its folder, to ${quoted(target, 120)}`,
      );
    if (type === 'symlink') links.add(parts.join('/'));
  };
}

interface MemberHeader {
  readonly name: string;
  readonly type?: string | null;
  readonly linkname?: string | null;
}

function isPart(part: string): boolean {
  return part !== '' && part !== '.';
}

/** Up, and then down: behind a name, `..` may be the folder above one that a link leads to. @param depth of the folder */
function leaves(depth: number, target: string): boolean {
  const parts = target.split('/').filter(isPart);
  const name = parts.findIndex((part) => part !== '..');
  const up = name < 0 ? parts.length : name;
  return target.startsWith('/') || parts.lastIndexOf('..') >= up || up > depth;
}
