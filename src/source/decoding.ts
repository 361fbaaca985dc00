/** What reading the binary changes of patches takes from Node. */
import { createHash } from 'node:crypto';
import { inflateSync } from 'node:zlib';

import type { Decoding } from '../patch/binary-change.ts';

export const decoding: Decoding = {
  inflate(data, size) {
    try {
      return inflateSync(data, { maxOutputLength: Math.max(1, size) });
    } catch {
      return undefined;
    }
  },
  gitBlob(content) {
    const hash = createHash('sha1').update(`blob ${content.length}\0`);
    return hash.update(content, 'latin1').digest('hex');
  },
};
