/** What reading the binary changes of patches takes from Node. */
import { inflateSync } from 'node:zlib';

import type { Decoding } from '../patch/binary-change.ts';
import { objectName } from './git-objects.ts';

export const decoding: Decoding = {
  inflate(data, size) {
    try {
      return inflateSync(data, { maxOutputLength: Math.max(1, size) });
    } catch {
      return undefined;
    }
  },
  gitBlob(content) {
    return objectName('blob', Buffer.from(content, 'latin1'));
  },
};
