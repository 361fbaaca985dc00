import type { Diagnostic, Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { specCodes } from './codes.ts';
import { baseText, fragmentText } from './config-text.ts';
import type { Lock } from './lock.ts';
import { patchText } from './patch-text.ts';
import { pathText } from './path-text.ts';
import { sourceText } from './source-text.ts';
import type { SetOption, Spec } from './spec.ts';
import type { YamlPath } from './yaml-tree.ts';

/** One thing that a spec says otherwise than the spec in its lock. */
export interface Difference {
  /** In the spec as it is written: `['config', 'set', 'CRC7']`. */
  readonly path: YamlPath;
  /** What happened, in words. */
  readonly what: string;
}

/** Values of which there is one, by their place; `undefined` where the spec leaves them to somebody else. */
function singles(spec: Spec): readonly (readonly [YamlPath, string | number | undefined])[] {
  const { name, kernel, arch, config, environment, localversion, build, outputs } = spec;
  return [
    [['name'], name],
    [['kernel', 'version'], kernel.version],
    [['kernel', 'source'], sourceText(kernel.source)],
    [['arch'], arch],
    [['config', 'base'], baseText(config.base)],
    [['environment', 'debian'], environment.debian],
    [['environment', 'image'], environment.image],
    [['environment', 'snapshot'], environment.snapshot],
    [['environment', 'gcc'], environment.gcc],
    [['environment', 'llvm'], environment.llvm],
    [['localversion'], localversion === '' ? undefined : localversion],
    [['build', 'user'], build.user],
    [['build', 'host'], build.host],
    [['build', 'epoch'], build.epoch],
    [['outputs'], outputs.join(', ')],
  ];
}

function shown(value: string | number | undefined): string {
  return value === undefined ? 'none' : quoted(String(value));
}

function compareSingles(spec: Spec, locked: Spec): Difference[] {
  const before = singles(locked);
  return singles(spec).flatMap(([path, value], index) => {
    const old = before[index]?.[1];
    return value === old
      ? []
      : [{ path, what: `the lock was made for ${shown(old)}, the spec says ${shown(value)}` }];
  });
}

function compareLists(path: YamlPath, now: readonly string[], old: readonly string[]): Difference[] {
  const gone = old.filter((one) => !now.includes(one));
  const added = now.filter((one) => !old.includes(one));
  const found = [
    ...gone.map((one) => ({
      path,
      what: `the lock was made with ${quoted(one)}, which the spec no longer has`,
    })),
    ...added.map((one) => ({
      path: [...path, now.indexOf(one)],
      what: `the lock was made without ${quoted(one)}`,
    })),
  ];
  const sameOrder = now.every((one, index) => one === old[index]);
  return found.length > 0 || sameOrder ? found : [{ path, what: 'the lock was made for another order' }];
}

/** Options, in an order that counts: which member of a choice is taken depends on it. */
function compareSet(now: readonly SetOption[], old: readonly SetOption[]): Difference[] {
  const path = ['config', 'set'];
  const before = new Map(old.map(({ option, value }) => [option, value]));
  const after = new Map(now.map(({ option, value }) => [option, value]));
  const changed = now
    .filter(({ option, value }) => before.get(option) !== value)
    .map(({ option, value }) => ({
      path: [...path, option],
      what: before.has(option)
        ? `the lock was made for ${shown(before.get(option))}, the spec says ${shown(value)}`
        : `the lock was made without it, the spec says ${shown(value)}`,
    }));
  const gone = old
    .filter(({ option }) => !after.has(option))
    .map(({ option, value }) => ({
      path: [...path, option],
      what: `the lock was made for ${shown(value)}, the spec no longer has it`,
    }));
  if (changed.length + gone.length > 0) return [...changed, ...gone];
  const sameOrder = now.every(({ option }, index) => option === old[index]?.option);
  return sameOrder ? [] : [{ path, what: 'the lock was made for another order of the options' }];
}

/** Everything that `spec` says otherwise than `locked`, in the order of a spec. */
export function specDifferences(spec: Spec, locked: Spec): Difference[] {
  return [
    ...compareSingles(spec, locked),
    ...compareLists(
      ['config', 'fragments'],
      spec.config.fragments.map(fragmentText),
      locked.config.fragments.map(fragmentText),
    ),
    ...compareSet(spec.config.set, locked.config.set),
    ...compareLists(['patches'], spec.patches.map(patchText), locked.patches.map(patchText)),
  ];
}

/**
 * Names every difference between a spec and the one its lock was made for: such a lock no longer counts.
 *
 * @param place where in the spec's text something stands, as `readSpec` gives it
 */
export function compareWithLock(
  spec: Spec,
  lock: Lock,
  place?: (path: YamlPath) => Span | undefined,
): Diagnostic[] {
  return specDifferences(spec, lock.spec).map(({ path, what }) =>
    specCodes.report('spec/lock-differs', {
      message: `\`${pathText(path, 'the spec')}\`: ${what}`,
      span: place?.(path),
      help: 'pin the spec again: run `quern pin` and look at what changes in the lock',
    }),
  );
}

/** The parts of a lock that a change of the spec can make stale. */
export interface StaleParts {
  /** `inputs.source`. */
  readonly source: boolean;
  /** `inputs.image`. */
  readonly image: boolean;
  /** `inputs.packages` and the indexes they were read from. */
  readonly packages: boolean;
  /** `inputs.base`: which it is, not what is in it. */
  readonly base: boolean;
  /** `inputs.fragments`, `inputs.patches`: which files, not what is in them. */
  readonly files: boolean;
  readonly answers: boolean;
}

type Part = keyof StaleParts;

/**
 * What each part of the spec decides. Answers hang on nearly everything; not on the name and the outputs, and not on
 * user and host, which only stand in the banner: `uname -v` has the time and neither of them. A Debian package with the
 * source or the base is looked up in the environment's release and snapshot, so that a change of these makes it stale; the
 * architecture does not: sources are the same for all, and a base says itself which one it is for.
 */
const decides: Readonly<Record<string, readonly Part[]>> = {
  name: [],
  'kernel.version': ['source', 'answers'],
  'kernel.source': ['source', 'answers'],
  arch: ['packages', 'answers'],
  'config.base': ['base', 'answers'],
  'config.fragments': ['files', 'answers'],
  'config.set': ['answers'],
  patches: ['files', 'answers'],
  'environment.debian': ['packages', 'answers'],
  'environment.image': ['image', 'packages', 'answers'],
  'environment.snapshot': ['packages', 'answers'],
  'environment.gcc': ['packages', 'answers'],
  'environment.llvm': ['packages', 'answers'],
  localversion: ['answers'],
  'build.user': [],
  'build.host': [],
  'build.epoch': ['answers'],
  outputs: [],
};

/** Which parts of `lock` no longer go with `spec`; the others can be kept when it is pinned again. */
export function staleParts(spec: Spec, lock: Lock): StaleParts {
  const changed = specDifferences(spec, lock.spec).map(({ path }) => path.slice(0, 2));
  const stale = new Set<Part>();
  for (const [first, second] of changed) {
    // `patches` and its items, `config.set` and its options.
    const parts = decides[`${first}.${second}`] ?? decides[String(first)] ?? [];
    for (const part of parts) stale.add(part);
    const elsewhere = first === 'environment' && (second === 'debian' || second === 'snapshot');
    if (elsewhere && spec.kernel.source.kind === 'debian') stale.add('source');
    if (elsewhere && spec.config.base.kind === 'debian') stale.add('base');
  }
  return {
    source: stale.has('source'),
    image: stale.has('image'),
    packages: stale.has('packages'),
    base: stale.has('base'),
    files: stale.has('files'),
    answers: stale.has('answers'),
  };
}
