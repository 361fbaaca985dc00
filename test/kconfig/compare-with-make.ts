import { spawnSync } from 'node:child_process';

import { expect } from 'vitest';

import { kconfigVariables } from '../../src/kconfig/make-environment.ts';
import { readTree } from '../../src/kconfig/tree-questions.ts';
import { treeOnDisk } from '../../src/source/tree-on-disk.ts';
import { plainEnvironment } from '../oracle/host-toolchain.ts';
import { kconfigProgram, type KernelArchitecture } from '../oracle/kconfig-program.ts';
import type { KernelTree } from '../oracle/kernel-trees.ts';

/**
 * Reads a tree with answers of this machine, and looks whether the variables are those that the kernel's make exports,
 * and the questions those that its program asks.
 *
 * @returns how many variables and how many questions were compared
 */
export async function compareWithMake(
  tree: KernelTree,
  arch: KernelArchitecture,
): Promise<{ readonly variables: number; readonly questions: number }> {
  const referee = await kconfigProgram(tree, arch);
  // the referee builds outside of the tree, which it names by its path
  const here = (text: string): string => text.replaceAll(tree.folder, '.');
  const recorded = new Map([...referee.probes].map(([command, answer]) => [here(command), here(answer)]));
  const answers = new Map(recorded);
  const files = treeOnDisk(tree.folder);
  for (let round = 0; round < 8; round += 1) {
    const reading = readTree(files, { arch }, answers);
    if (reading.kind === 'asks') {
      const { commands } = reading.questions;
      // what the Makefiles ask, nobody has recorded; what the Kconfig files ask, the program must have asked
      if (round > 3) expect(commands).toEqual([]);
      for (const command of commands) answers.set(command, ask(command, tree.folder));
      continue;
    }
    const wanted = [...kconfigVariables, 'LC_COLLATE', 'LC_NUMERIC', 'RUSTC_BOOTSTRAP'];
    const theirs = wanted.map((name) => [name, here(referee.environment[name] ?? '')]);
    expect(wanted.map((name) => [name, reading.make.variables[name] ?? ''])).toEqual(theirs);
    expect(reading.make.sourceArch).toBe(referee.environment['SRCARCH']);
    const { asked } = reading.parsed;
    expect(asked.toSorted()).toEqual([...recorded.keys()].sort());
    return { variables: theirs.length, questions: asked.length };
  }
  throw new Error('the tree asks without end');
}

function ask(command: string, folder: string): string {
  const { stdout } = spawnSync('/bin/sh', ['-c', command], {
    cwd: folder,
    env: plainEnvironment,
    encoding: 'latin1',
    stdio: ['ignore', 'pipe', 'ignore'],
  });
  return stdout;
}
