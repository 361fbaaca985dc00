/** Tags that somebody has signed. */
import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { digestOf } from '../host/digest-file.ts';
import type { GitSource } from '../spec/spec.ts';
import { sourceCodes } from './codes.ts';
import { readDetached, verifyDetached, type GoodSignature } from './detached-signature.ts';
import type { Ring } from './gather-keys.ts';
import { keysOf } from './signer-keys.ts';

export interface SignedTag {
  /** Of the signature. */
  readonly sha256: string;
  readonly good: GoodSignature;
}

/**
 * Verifies a tag: it ends with the signature over all that is before it (git's documentation, gitformat-signature(5)).
 *
 * @param object the tag as git keeps it; empty where it is but a name for a commit
 * @throws Failure `source/no-signature`, `source/altered`, and what is said of signatures
 */
export async function verifyTag(
  object: Buffer,
  tag: string,
  { url, signers }: GitSource,
  ring: Ring,
  now: Date,
): Promise<SignedTag> {
  const name = `the tag ${tag}`;
  const text = object.toString('latin1');
  const at = [...text.matchAll(/^-----BEGIN PGP SIGNATURE-----/gmu)].at(-1)?.index;
  if (at === undefined) {
    throw new Failure(
      sourceCodes.report('source/no-signature', {
        message: `${name} of ${url} is not signed`,
        help: 'A source that nobody has signed is not built: take a tag that is, or take `signers` out of the spec and name the commit, which you know from elsewhere.',
      }),
    );
  }
  // one that was signed under another name says nothing of this one
  const named = /^tag (.*)$/mu.exec(text.slice(0, text.indexOf('\n\n')))?.[1];
  if (named !== tag) {
    throw new Failure(
      sourceCodes.report('source/altered', {
        message: `${name} of ${url} was signed as ${quoted(named ?? 'none', 120)}`,
        help: 'Somebody has given it another name since: take the name that it was signed with, if that is the version you want.',
      }),
    );
  }
  const [signed, bytes] = [object.subarray(0, at), object.subarray(at)];
  const accepted = keysOf(signers, ring.keys, ['the keys']);
  const candidates = await readDetached({ bytes, name: `the signature of ${name}` }, name, accepted, now);
  const content = (): AsyncIterable<Uint8Array> => only(signed);
  const good = await verifyDetached(candidates, { name, tar: content, file: content }, now);
  return { sha256: digestOf(bytes), good };
}

async function* only(bytes: Uint8Array): AsyncGenerator<Uint8Array> {
  yield await Promise.resolve(bytes);
}

/** The commit that a tag names; nothing where it names another tag. */
export function taggedCommit(object: Buffer): string | undefined {
  return /^object ([0-9a-f]{40})\ntype commit\n/u.exec(object.toString('latin1'))?.[1];
}
