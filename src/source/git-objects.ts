/** Names of git's objects, worked out by ourselves (git's documentation, "Git Internals: Git Objects"); SHA-1 alone. */
import { createHash, type Hash } from 'node:crypto';

type Kind = 'blob' | 'tree' | 'commit' | 'tag';

/** Lower-case hex. */
export function objectName(kind: Kind, content: Uint8Array): string {
  return objectHash(kind, content.length).update(content).digest('hex');
}

/** The hash that comes to an object's name once it has its content. @param size of the content, in bytes */
export function objectHash(kind: Kind, size: number): Hash {
  return createHash('sha1').update(`${kind} ${size}\0`);
}
