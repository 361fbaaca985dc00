/** How much of everything a tree's Kconfig files define, counted in the memory of the tree's own parser. */
import { spawnSync } from 'node:child_process';
import { readdir } from 'node:fs/promises';
import path from 'node:path';

import { compiled } from './host-toolchain.ts';
import type { KconfigProgram } from './kconfig-program.ts';

/** `choices` are no `symbols`, and the titles of menuconfigs no `prompts`; `entries` are all config, menuconfig and choice blocks, also repeated ones. */
export const countedKinds = [
  'files',
  'entries',
  'symbols',
  'bool',
  'tristate',
  'int',
  'hex',
  'string',
  'untyped',
  'choices',
  'choice_members',
  'tristate_choices',
  'optional_choices',
  'menus',
  'menuconfigs',
  'comments',
  'ifs',
  'prompts',
  'defaults',
  'selects',
  'implies',
  'ranges',
] as const;
export type KconfigCounts = Readonly<Record<(typeof countedKinds)[number], number>>;

/** @param answer what every probe is answered with */
export async function kconfigCounts(program: KconfigProgram, answer: string): Promise<KconfigCounts> {
  const built = path.dirname(program.conf);
  const sources = path.join(program.tree.folder, 'scripts', 'kconfig');
  const objects = (await readdir(built)).filter((name) => name.endsWith('.o') && name !== 'conf.o').sort();
  const counter = await compiled('kconfig-counts.c', [
    `-I${sources}`,
    `-I${path.join(sources, '..', 'include')}`,
    ...objects.map((name) => path.join(built, name)),
    '-Wl,--wrap=fopen',
  ]);
  const { stdout, stderr, status } = spawnSync(counter, ['Kconfig'], {
    encoding: 'latin1',
    // By this name kconfig-replay.c knows whom to answer.
    argv0: 'conf',
    env: { ...program.environment, LD_PRELOAD: program.preload, REFEREE_ANSWER: answer },
  });
  if (status !== 0) throw new Error(`the counter ended with ${status}: ${stderr}`);
  const counts = new Map(
    stdout
      .trim()
      .split('\n')
      .map((line) => {
        const [kind = '', count] = line.split(' ');
        return [kind, Number(count)] as const;
      }),
  );
  const of = (kind: string): number => {
    const count = counts.get(kind);
    if (count === undefined) throw new Error(`the counter says nothing of ${kind}`);
    return count;
  };
  // A record of all kinds, since each is asked for by name.
  return Object.fromEntries(countedKinds.map((kind) => [kind, of(kind)])) as KconfigCounts;
}
