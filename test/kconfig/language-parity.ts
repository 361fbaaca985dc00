/** Whether the kernel's own program and our engine both read a Kconfig file, and what both make of it. */
import { spawnSync } from 'node:child_process';

import type { Probes } from '../../src/kconfig/probes.ts';
import { plainEnvironment } from '../oracle/host-toolchain.ts';
import { differences } from '../oracle/kconfig-parity.ts';
import { parseSnippet, type Generation, type SnippetReferee } from '../oracle/kconfig-snippets.ts';
import type { LanguageCase } from './language-cases.ts';

const shell: Probes = {
  answer: (command) =>
    spawnSync('/bin/sh', ['-c', command], { env: plainEnvironment, encoding: 'latin1' }).stdout,
};

/** Sentences, none of them when all is equal. */
export async function languageDifferences(
  generation: Generation,
  referee: SnippetReferee,
  { name, files }: LanguageCase,
): Promise<readonly string[]> {
  const label = `${generation.series}, ${name}`;
  const { status, stderr } = await referee.ask(generation, files, { mode: 'olddefconfig', config: '' });
  // The program crashed: there is nothing to compare with.
  if (status >= 128) return [];
  const { model, diagnostics } = parseSnippet(generation, files, shell);
  const ours = diagnostics.map(({ severity, message }) => `${severity} ${message}`).join('; ');
  if ((status === 0) !== (model !== undefined)) {
    return [
      `${label}: conf ended with ${status} and said ${JSON.stringify(stderr)}; we say ${JSON.stringify(ours)}`,
    ];
  }
  if (!model) return [];
  const found: string[] = [];
  for (const mode of ['olddefconfig', 'allyesconfig', 'allmodconfig', 'allnoconfig'] as const) {
    found.push(
      ...(await differences(
        { name: `${label}, ${mode}`, mode },
        (job) => referee.ask(generation, files, job),
        model,
      )),
    );
  }
  return found;
}
