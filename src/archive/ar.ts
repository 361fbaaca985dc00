/** Headers of the common ar archive, as `.deb` files use it (deb(5)): no long names, sizes in decimal. */

export const arMagic = '!<arch>\n';
export const arHeaderSize = 60;

export interface ArMember {
  readonly name: string;
  /** Bytes of its content, which follows the header and is padded to an even length. */
  readonly size: number;
}

/** @returns `undefined` when these bytes are no header of a member */
export function readArHeader(bytes: Uint8Array): ArMember | undefined {
  if (bytes.length < arHeaderSize) return undefined;
  const text = String.fromCharCode(...bytes.subarray(0, arHeaderSize));
  if (!text.endsWith('`\n')) return undefined;
  const size = /^(\d{1,10}) *$/.exec(text.slice(48, 58))?.[1];
  if (size === undefined) return undefined;
  return { name: text.slice(0, 16).trimEnd().replace(/\/$/, ''), size: Number(size) };
}
