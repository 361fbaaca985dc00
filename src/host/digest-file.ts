import { createHash } from 'node:crypto';
import { open } from 'node:fs/promises';

/** Bytes that are read at once. */
const bufferSize = 256 << 10;

/** SHA-256, lower-case hex. */
export function digestOf(content: string | Uint8Array): string {
  return createHash('sha256').update(content).digest('hex');
}

/** SHA-256 of a file's content, lower-case hex; the file may be larger than memory. */
export async function digestFile(path: string): Promise<string> {
  const hash = createHash('sha256');
  // one piece of memory for all of it: where that is fresh each time, getting it takes longer than the digest
  const buffer = Buffer.allocUnsafeSlow(bufferSize);
  const file = await open(path);
  try {
    for (;;) {
      const { bytesRead } = await file.read(buffer);
      if (bytesRead === 0) return hash.digest('hex');
      hash.update(buffer.subarray(0, bytesRead));
    }
  } finally {
    await file.close();
  }
}
