/** Our own engine on the trees of the referee, with the same environment and the same answers to probes. */
import { readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';

import type { Model } from '../../src/kconfig/model.ts';
import { parseTree } from '../../src/kconfig/parse-tree.ts';
import type { TreeFiles } from '../../src/kconfig/tree-files.ts';
import type { KconfigProgram } from './kconfig-program.ts';

/** Files below a folder, in latin1. */
export function filesBelow(folder: string): TreeFiles {
  return {
    read: (name) => {
      try {
        return readFileSync(path.resolve(folder, name), 'latin1');
      } catch {
        return undefined;
      }
    },
  };
}

/**
 * What our engine makes of the tree.
 * @param answer takes the place of the recorded answer to every probe
 * @throws Error when it complains, or needs an answer that the kernel's own program did not ask for
 */
export function ourModel(program: KconfigProgram, answer?: string): Model {
  const { model, diagnostics, missing } = parseTree({
    files: filesBelow(program.tree.folder),
    probes: { answer: (command) => answer ?? program.probes.get(command) },
    environment: program.environment,
  });
  const errors = diagnostics.filter(({ severity }) => severity === 'error');
  if (!model || errors.length > 0) throw new Error(errors.map(({ message }) => message).join('\n'));
  if (missing.length > 0) throw new Error(`conf never asked: ${missing.join('\n')}`);
  return model;
}

/** The texts of all Kconfig files of a tree, of every architecture. */
export function kconfigTexts(folder: string): readonly string[] {
  return readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((name) => path.basename(name).startsWith('Kconfig') && !name.startsWith('scripts/'))
    .sort()
    .map((name) => readFileSync(path.join(folder, name), 'latin1'));
}
