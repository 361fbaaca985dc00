/** What a lock says that follows from its source, its patches and what its environment answered. */
import { createHash } from 'node:crypto';
import { isDeepStrictEqual } from 'node:util';

import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { kernelRelease } from '../kconfig/kernel-release.ts';
import { encodeLatin1 } from '../kconfig/latin1.ts';
import type { Answers } from '../spec/lock.ts';
import type { Spec } from '../spec/spec.ts';
import { commandCodes } from './codes.ts';
import { examineConfig } from './examine-config.ts';
import type { SpecConfig } from './spec-tree.ts';

/** All answers but for what programs call themselves, which follows from nothing. */
export type FollowingAnswers = Omit<Answers, 'toolchain'>;

/**
 * @returns what is to be said of the configuration beside its verdicts, too
 */
export function followingAnswers(
  spec: Spec,
  made: Pick<SpecConfig, 'pack' | 'tree' | 'text'>,
): { readonly answers: FollowingAnswers; readonly diagnostics: readonly Diagnostic[] } {
  const { pack, tree, text } = made;
  const { kernelVersion, variables } = tree.make;
  const epoch = spec.build.epoch ?? pack.pack.newest;
  const { versionString, diagnostics } = examineConfig(spec, text, {
    version: kernelVersion,
    keys: pack.pack.keys,
    epoch,
  });
  const answers = {
    variables,
    probes: Object.fromEntries(tree.answers),
    pack: pack.sha256,
    ...(pack.tree && { patched: pack.tree.patched }),
    kernelVersion,
    kernelRelease: kernelRelease(pack.pack, kernelVersion, text, spec.localversion),
    versionString,
    epoch,
    config: createHash('sha256').update(encodeLatin1(text)).digest('hex'),
  };
  return { answers, diagnostics };
}

/**
 * A kit runs the probes of the lock in the tree that it compiles, and with these variables: what the tree does not ask has
 * no place there.
 */
export function alteredAnswers(pinned: Answers, given: FollowingAnswers): readonly Diagnostic[] {
  // which a lock of an earlier version does not have, and `check` does not know without the source
  const patched = pinned.patched === undefined || given.patched === undefined ? [] : (['patched'] as const);
  const values = ['kernelVersion', 'kernelRelease', 'versionString', 'epoch', 'config', ...patched] as const;
  const tables = ['variables', 'probes'] as const;
  const differing = [...values, ...tables].filter((name) => !isDeepStrictEqual(pinned[name], given[name]));
  if (differing.length === 0) return [];
  return [
    commandCodes.report('command/answers-changed', {
      message: `what follows from the lock is not what it says: ${differing.join(', ')}`,
      notes: [
        ...values
          .filter((name) => differing.includes(name))
          .map(
            (name) => `${name}: the lock has ${shown(pinned[name])}, and it comes to ${shown(given[name])}.`,
          ),
        ...tables
          .filter((name) => differing.includes(name))
          .map((name) => `${name}: ${firstDifference(pinned[name], given[name])}`),
        'Either the lock was altered, or another version of Quern wrote it.',
      ],
      help: 'Pin the answers again (quern pin --refresh answers) and look at what changes.',
    }),
  ];
}

function firstDifference(
  pinned: Readonly<Record<string, string>>,
  given: Readonly<Record<string, string>>,
): string {
  const key = Object.keys({ ...pinned, ...given }).find((one) => pinned[one] !== given[one]) ?? '';
  return `of ${quoted(key, 200)} the lock has ${shown(pinned[key])}, and it comes to ${shown(given[key])}.`;
}

function shown(value: string | number | undefined): string {
  return value === undefined ? 'nothing' : JSON.stringify(value);
}
