import { availableParallelism } from 'node:os';

import type { Host } from '../host/host.ts';
import type { MakeRequest } from '../kconfig/make-environment.ts';
import type { WholeReading } from '../kconfig/tree-questions.ts';
import { renderProbeScript } from '../kit/probe-kit.ts';
import { askHost } from '../source/probe-host.ts';
import { answerTree, type AskingTree } from './answer-tree.ts';
import { readKitTemplates } from './kit-templates.ts';

/**
 * Reads a tree with the answers of this machine, which runs what the tree's Kconfig files name.
 *
 * @throws Failure what `answerTree` and `askHost` throw, and making the pack
 */
export async function askThisMachine(
  host: Host,
  source: AskingTree,
  request: MakeRequest,
): Promise<WholeReading> {
  const templates = await readKitTemplates();
  const script = (sha256: string): string => renderProbeScript(templates, sha256);
  const jobs = availableParallelism();
  host.progress.stage('asking this machine what the tree wants to know');
  // as make does: who builds for another architecture has it in the environment
  const { CROSS_COMPILE: crossCompile = request.crossCompile } = host.env;
  const pack = await source.pack();
  return answerTree(pack, { ...request, crossCompile }, (questions) =>
    askHost(host, pack, questions, { script, jobs }),
  );
}
