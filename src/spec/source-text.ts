import type { GitPin, SourcePin } from './lock.ts';
import { isRemote, type Signers, type SpecSource } from './spec.ts';

/** A source as the spec asks for it, in one line that tells any two apart. */
export function sourceText(source: SpecSource): string {
  switch (source.kind) {
    case 'debian':
      return `debian ${source.package}`;
    case 'tarball':
    case 'tree':
      return `${source.kind} ${source.path}`;
    case 'release': {
      const sums = source.sums === undefined ? '' : `, sums ${source.sums}`;
      return `release ${source.site}${signersText(source)}${sums}`;
    }
    case 'url': {
      const { urls, sha256, signature } = source;
      const where = signature?.kind === 'url' ? signature.url : signature?.path;
      return [
        `url ${urls.join(' ')}`,
        ...(sha256 === undefined ? [] : [`, sha256 ${sha256}`]),
        ...(where === undefined ? [] : [`, signature ${where}`]),
        signersText(source),
      ].join('');
    }
    case 'git': {
      const { url, tag, commit } = source;
      return [
        `git ${url}`,
        ...(tag === undefined ? [] : [`, tag ${tag}`]),
        ...(commit === undefined ? [] : [`, commit ${commit}`]),
        signersText(source),
      ].join('');
    }
  }
}

function signersText({ signers, keyring, keys }: Signers): string {
  return [
    ...(signers.length === 0 ? [] : [`, signers ${signers.join(' ')}`]),
    ...(keyring === undefined ? [] : [`, keyring ${keyring}`]),
    ...(keys.length === 0 ? [] : [`, keys ${keys.join(' ')}`]),
  ].join('');
}

/** What the source is called and its digest: of one that is fetched, those of the tar, whatever it is compressed with. */
export function sourceFact(pin: SourcePin): { readonly path: string; readonly sha256: string } {
  if (isRemote(pin)) return { path: tarName(pin.urls), sha256: pin.tar.sha256 };
  if (pin.kind === 'git') return { path: `${commitFolder(pin)}.tar`, sha256: pin.sha256 };
  return { path: pin.path, sha256: pin.sha256 };
}

/** The folder that a commit is packed in: `linux-6.1.119` of the tag `v6.1.119`, as the tarballs of releases have it. */
export function commitFolder({ tag, commit }: Pick<GitPin, 'tag' | 'commit'>): string {
  const version = /^v(\d[^/]*)$/u.exec(tag ?? '')?.[1];
  return `linux-${version ?? commit.slice(0, 12)}`;
}

/** `linux-6.1.119.tar`: what the first URL says, in characters that stand for themselves everywhere. */
export function tarName([url = '']: readonly string[]): string {
  const last = url.replace(/[?].*$/u, '').replace(/^.*\//u, '');
  const stem = last.replace(/\.(?:tar(?:\.\w+)?|t\wz)$/u, '').replaceAll(/[^A-Za-z0-9._-]/gu, '_');
  return `${/^[A-Za-z0-9]/u.test(stem) ? stem : 'source'}.tar`;
}
