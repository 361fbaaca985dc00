/**
 * References to images, as people write them everywhere: `debian:bookworm-slim`,
 * `registry.otter-bank.example:5000/build/base:7@sha256:…`. There is no standard for them; names, tags and digests are
 * those of the OCI distribution specification 1.1 (Pulling manifests), host and defaults are common practice.
 */
import type { Grammar } from './grammar.ts';

export interface ImageReference {
  /** Host, with a port where it has one. */
  readonly registry: string;
  /** Name of the repository in that registry. */
  readonly repository: string;
  readonly tag?: string;
  readonly sha256?: string;
}

/** Where a name without a host is looked for: common practice. */
export const defaultRegistry = 'docker.io';
/** Where a name of one part is there. */
const defaultNamespace = 'library';
const defaultTag = 'latest';

const label = '[A-Za-z0-9](?:[A-Za-z0-9\\-]{0,61}[A-Za-z0-9])?';
const host = String.raw`(?:${label}(?:\.${label})*|\[[0-9a-fA-F:]{2,39}\])(?::[0-9]{1,5})?`;
const part = String.raw`[a-z0-9]+(?:(?:[._]|__|-+)[a-z0-9]+)*`;

/** What tells the host from the first part of a name: a dot, a port, an upper-case letter, or that it is `localhost`. */
const hostMark = String.raw`(?:localhost|[^\/]*[.:A-Z][^\/]*)`;

/** Whether it can stand in a URL: `1.2.3.4.5` and `gauges:99999` look like hosts, and are none. */
export function isHost(text: string): boolean {
  return URL.canParse(`https://${text}`);
}

/** The registry that is meant, without a scheme: a host, with a port where it has one. */
export const registryHost: RegExp = new RegExp(`^${host}$`, 'u');
/** A name has at most 255 characters (OCI distribution specification). */
export const imageRepository: RegExp = new RegExp(String.raw`^(?=.{1,255}$)${part}(?:\/${part})*$`, 'u');

const tag = String.raw`[A-Za-z0-9_][A-Za-z0-9_.\-]{0,127}`;

export const imageTag: Omit<Grammar, 'example'> = {
  pattern: new RegExp(`^${tag}$`, 'u'),
  rule: 'a tag has at most 128 letters, digits and _ . -, and begins with none of the last two',
};

export const imageReference: Grammar = {
  pattern: new RegExp(
    String.raw`^(?=.{1,600}$)(?:(?=${hostMark}\/)${host}\/)?(?=[^:@]{1,255}(?:[:@]|$))${part}(?:\/${part})*(?::${tag})?(?:@sha256:[0-9a-f]{64})?$`,
    'u',
  ),
  rule: 'an image is named as [HOST[:PORT]/]NAME[:TAG][@sha256:DIGEST], the name in lower case',
  example: 'debian:bookworm-slim',
};

/** Takes a reference apart and fills in what practice leaves out. @throws Error when it is none */
export function parseImageReference(text: string): ImageReference {
  const [, before = '', named, sha256] = /^(.*?)(?::([^:@/]+))?(?:@sha256:(.+))?$/u.exec(text) ?? [];
  if (!imageReference.pattern.test(text)) throw new Error(`no image reference: ${text}`);
  const [first = '', ...rest] = before.split('/');
  const hasHost = rest.length > 0 && new RegExp(`^${hostMark}$`, 'u').test(first);
  const name = hasHost ? rest.join('/') : before;
  const registry = hasHost && first !== `index.${defaultRegistry}` ? first : defaultRegistry;
  const bare = registry === defaultRegistry && !name.includes('/');
  return {
    registry,
    repository: bare ? `${defaultNamespace}/${name}` : name,
    ...(named !== undefined && { tag: named }),
    ...(named === undefined && sha256 === undefined && { tag: defaultTag }),
    ...(sha256 !== undefined && { sha256 }),
  };
}
