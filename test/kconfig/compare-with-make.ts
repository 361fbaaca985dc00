import { expect } from 'vitest';

import { kconfigVariables } from '../../src/kconfig/make-environment.ts';
import { readTree } from '../../src/kconfig/tree-questions.ts';
import { treeOnDisk } from '../../src/source/tree-on-disk.ts';
import { kconfigProgram, type KernelArchitecture } from '../oracle/kconfig-program.ts';
import type { KernelTree } from '../oracle/kernel-trees.ts';
import { recordedAnswers, recordedProbes } from '../oracle/recorded-answers.ts';

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
  const reading = readTree(treeOnDisk(tree.folder), { arch }, recordedAnswers(referee));
  if (reading.kind === 'asks') throw new Error(`not answered: ${reading.questions.commands.join('\n')}`);
  const { make, parsed } = reading;
  const wanted = [...kconfigVariables, 'LC_COLLATE', 'LC_NUMERIC', 'RUSTC_BOOTSTRAP'];
  const theirs = wanted.map((name) => [name, (referee.environment[name] ?? '').replaceAll(tree.folder, '.')]);
  expect(wanted.map((name) => [name, make.variables[name] ?? ''])).toEqual(theirs);
  expect(make.sourceArch).toBe(referee.environment['SRCARCH']);
  expect(parsed.asked.toSorted()).toEqual([...recordedProbes(referee).keys()].sort());
  return { variables: theirs.length, questions: parsed.asked.length };
}
