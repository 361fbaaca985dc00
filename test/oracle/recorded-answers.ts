/** What a tree asks of its environment, answered by this machine. */
import { spawnSync } from 'node:child_process';

import { readTree, type Answers } from '../../src/kconfig/tree-questions.ts';
import { treeOnDisk } from '../../src/source/tree-on-disk.ts';
import { plainEnvironment } from './host-toolchain.ts';
import type { KconfigProgram } from './kconfig-program.ts';

/** The probes that the kernel's own program ran. It works outside of the tree, which it names by its path; we by `.`. */
export function recordedProbes({ tree, probes }: KconfigProgram): Answers {
  const here = (text: string): string => text.replaceAll(tree.folder, '.');
  return new Map([...probes].map(([command, answer]) => [here(command), here(answer)]));
}

/** Those, and the answers to what the Makefiles ask, which the program never does. */
export function recordedAnswers(program: KconfigProgram): Answers {
  const { folder } = program.tree;
  const files = treeOnDisk(folder);
  const answers = new Map(recordedProbes(program));
  for (let round = 0; round < 8; round += 1) {
    const reading = readTree(files, { arch: program.arch }, answers);
    if (reading.kind === 'whole') return reading.answers;
    for (const command of reading.questions.commands) answers.set(command, ask(command, folder));
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
