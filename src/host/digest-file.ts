import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { pipeline } from 'node:stream/promises';

/** SHA-256, lower-case hex. */
export function digestOf(content: string | Uint8Array): string {
  return createHash('sha256').update(content).digest('hex');
}

/** SHA-256 of a file's content, lower-case hex; the file may be larger than memory. */
export async function digestFile(path: string): Promise<string> {
  const hash = createHash('sha256');
  await pipeline(createReadStream(path), hash);
  return hash.digest('hex');
}
