import { matchesGlob } from '../patch/glob.ts';
import { parseImageReference } from './image-reference.ts';
import { baseText } from './config-text.ts';
import {
  isPackaged,
  type BasePin,
  type FilePin,
  type Inputs,
  type Lock,
  type PatchPin,
  type SourcePin,
} from './lock.ts';
import { patchText, standsForSeveral } from './patch-text.ts';
import { isFetched, type SpecBase, type SpecPatch, type SpecSource } from './spec.ts';
import type { YamlPath } from './yaml-tree.ts';

/** A place of a lock that does not go with another place of it. */
export interface Contradiction {
  readonly path: YamlPath;
  readonly why: string;
}

function checkFragments(wanted: readonly string[], pins: readonly FilePin[]): Contradiction[] {
  const path = ['inputs', 'fragments'];
  if (wanted.length !== pins.length) {
    return [{ path, why: `it pins ${pins.length} files, and the pinned spec names ${wanted.length}` }];
  }
  return wanted.flatMap((one, index) =>
    one === pins[index]?.path
      ? []
      : [{ path: [...path, index, 'path'], why: `the pinned spec names \`${one}\` here` }],
  );
}

/** Which files a pattern or a series stands for is not told by the spec: that they are in their place is. */
function checkPatches(wanted: readonly SpecPatch[], pins: readonly PatchPin[]): Contradiction[] {
  const path = ['inputs', 'patches'];
  const named = wanted.filter((one) => !standsForSeveral(one));
  const several = wanted.filter(standsForSeveral);
  const found: Contradiction[] = [];
  let next = 0;
  for (const [index, pin] of pins.entries()) {
    const expected = named[next];
    if (expected !== undefined && patchText(expected) === patchText(pin)) next += 1;
    else if (!several.some((one) => couldHave(one, pin))) {
      const why = expected === undefined ? 'no more patches' : `\`${patchText(expected)}\``;
      found.push({ path: [...path, index, 'path'], why: `the pinned spec names ${why} here` });
    }
  }
  const missing = named[next];
  if (found.length > 0 || missing === undefined) return found;
  return [
    { path, why: `it pins ${pins.length} files, and lacks \`${patchText(missing)}\` of the pinned spec` },
  ];
}

function couldHave(one: SpecPatch, { path }: PatchPin): boolean {
  if (typeof one === 'object' && 'series' in one) {
    return path.startsWith(one.series.slice(0, one.series.lastIndexOf('/') + 1));
  }
  return matchesGlob(typeof one === 'string' ? one : one.path, path);
}

function checkSource(lock: Lock): Contradiction[] {
  const { spec, inputs } = lock;
  const wanted = spec.kernel.source;
  const { source } = inputs;
  const path = ['inputs', 'source'];
  if (wanted.kind !== source.kind)
    return [{ path, why: `the pinned spec has a source of the kind \`${wanted.kind}\`` }];
  const [asked, got] = [namedBy(wanted), namedBy(source)];
  const named = asked === got ? [] : [{ path, why: `the pinned spec names \`${asked}\`` }];
  return [...named, ...checkAuthenticity(lock)];
}

/** What tells which source it is; the URLs of a release follow from the version. */
function namedBy(source: SpecSource | SourcePin): string {
  switch (source.kind) {
    case 'debian':
      return source.package;
    case 'tarball':
    case 'tree':
      return source.path;
    case 'release':
      return source.kind;
    case 'url':
      return source.urls.join(' ');
    case 'git':
      return [source.url, ...(source.tag === undefined ? [] : [source.tag])].join(' ');
  }
}

/** What the spec wants to be signed is signed, by one of those that it names. */
function checkAuthenticity({ spec, inputs }: Lock): Contradiction[] {
  const wanted = spec.kernel.source;
  const { source } = inputs;
  if (!isFetched(wanted) || !isFetched(source)) return [];
  const path = ['inputs', 'source'];
  if (wanted.kind === 'git' && source.kind === 'git' && (wanted.commit ?? source.commit) !== source.commit)
    return [{ path: [...path, 'commit'], why: `the pinned spec names \`${wanted.commit}\`` }];
  const signed = wanted.kind === 'url' ? wanted.signature !== undefined : wanted.signers.length > 0;
  const signer = source.signature?.signer;
  if (signed !== (signer !== undefined))
    return [{ path, why: `the pinned spec has ${signed ? 'a' : 'no'} signature` }];
  if (signer === undefined || wanted.signers.includes(signer)) return [];
  return [{ path: [...path, 'signature', 'signer'], why: 'it is none of the signers of the pinned spec' }];
}

function checkBase({ spec, inputs }: Lock): Contradiction[] {
  const { base } = spec.config;
  if (isPinOf(base, inputs.base)) return [];
  return [{ path: ['inputs', 'base'], why: `the pinned spec begins with \`${baseText(base)}\`` }];
}

function isPinOf(base: SpecBase, pin: BasePin | undefined): boolean {
  if (base.kind === 'target' || pin === undefined) return base.kind === 'target' && pin === undefined;
  if (base.kind === 'debian') {
    return isPackaged(pin) && pin.package === base.package && pin.config === base.config;
  }
  return !isPackaged(pin) && pin.path === base.path;
}

function checkImage({ spec, inputs: { image } }: Lock): Contradiction[] {
  const { image: wanted } = spec.environment;
  const path = ['inputs', 'image'];
  if (wanted === undefined || image === undefined) {
    if (wanted === image) return [];
    return [{ path, why: `the pinned spec names ${wanted === undefined ? 'none' : `\`${wanted}\``}` }];
  }
  const { registry, repository, tag, sha256 } = parseImageReference(wanted);
  const same =
    registry === image.registry &&
    repository === image.repository &&
    tag === image.tag &&
    (sha256 === undefined || sha256 === (image.index ?? image.manifest));
  return same ? [] : [{ path, why: `the pinned spec names \`${wanted}\`` }];
}

/** Each archive pin must say where its file is, and no two may be kept under one name. */
function checkArchives({ origins, indexes, source, base, packages }: Inputs): Contradiction[] {
  const found: Contradiction[] = [];
  const known = (origin: string, path: YamlPath): void => {
    if (!Object.hasOwn(origins, origin)) found.push({ path, why: 'the table of origins does not have it' });
  };
  for (const [index, { origin }] of indexes.entries()) known(origin, ['inputs', 'indexes', index, 'origin']);
  if (source.kind === 'debian') known(source.origin, ['inputs', 'source', 'origin']);
  if (base && isPackaged(base)) known(base.origin, ['inputs', 'base', 'origin']);
  const names = new Set(source.kind === 'debian' ? [baseName(source.path)] : []);
  for (const [index, { origin, path }] of packages.entries()) {
    const place = ['inputs', 'packages', index];
    known(origin, [...place, 'origin']);
    const name = baseName(path);
    if (names.has(name)) found.push({ path: [...place, 'path'], why: 'another pin has a file of this name' });
    names.add(name);
  }
  return found;
}

function baseName(path: string): string {
  return path.slice(path.lastIndexOf('/') + 1);
}

function checkEpoch({ spec, answers }: Lock): Contradiction[] {
  const { epoch } = spec.build;
  if (epoch === undefined || answers === undefined || answers.epoch === epoch) return [];
  return [{ path: ['answers', 'epoch'], why: `the pinned spec says ${epoch}` }];
}

/** Where a lock contradicts itself: its inputs and answers must be those of the spec it holds. */
export function lockContradictions(lock: Lock): Contradiction[] {
  const { spec, inputs } = lock;
  return [
    ...checkSource(lock),
    ...checkBase(lock),
    ...checkFragments(
      spec.config.fragments.filter((one) => typeof one === 'string'),
      inputs.fragments,
    ),
    ...checkPatches(spec.patches, inputs.patches),
    ...checkImage(lock),
    ...checkArchives(inputs),
    ...checkEpoch(lock),
  ];
}
