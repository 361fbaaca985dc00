/**
 * Latin1: one character per byte, as the texts of this room are. What the platform calls `latin1` is windows-1252 in
 * browsers (Encoding Standard, "Names and labels"), which is no byte-to-character table.
 */

const utf8 = new TextDecoder('utf-8', { ignoreBOM: true });
/** Arguments of one call; engines take tens of thousands. */
const chunk = 8192;

export function decodeLatin1(bytes: Uint8Array): string {
  // Nearly every file is ASCII, and for that the platform's decoder is many times faster. A sequence of UTF-8 gives
  // fewer characters than it has bytes, and what is none gives the replacement character.
  const text = utf8.decode(bytes);
  if (text.length === bytes.length && !text.includes('\ufffd')) return text;
  let decoded = '';
  for (let at = 0; at < bytes.length; at += chunk) {
    decoded += String.fromCharCode(...bytes.subarray(at, at + chunk));
  }
  return decoded;
}

/** @throws RangeError when a character is no byte */
export function encodeLatin1(text: string): Uint8Array {
  const bytes = new Uint8Array(text.length);
  for (let at = 0; at < text.length; at += 1) {
    const code = text.charCodeAt(at);
    if (code > 0xff) throw new RangeError(`no latin1 character: U+${code.toString(16)}`);
    bytes[at] = code;
  }
  return bytes;
}

/** Bytes, one per character, as the text they are in UTF-8; as they are when they are none. */
export function showBytes(latin1: string): string {
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(
      Uint8Array.from(latin1, (byte) => byte.charCodeAt(0)),
    );
  } catch {
    return latin1;
  }
}
