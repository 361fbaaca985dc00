import type { Inputs } from '../spec/lock.ts';
import { inputFiles } from './input-files.ts';
import { runnableFolder, type Files } from './kit.ts';
import { renderTemplate, type Templates } from './templates.ts';

/** Name of the tar in the inputs folder and in the container. */
export const probeTarFile = 'probes.tar';

/** The script that answers the questions in a tar. @param sha256 of that tar */
export function renderProbeScript(templates: Templates, sha256: string): string {
  return renderTemplate(templates, 'probes.sh', { sha256 });
}

/**
 * The folder that asks the environment one round of questions. It runs as a kit does: the same packages, so the same
 * image; in the place of the source it has a tar with the files of the tree that matter, and the questions.
 *
 * @param name of the spec
 * @param tar what `probeTar` made, which has to be in the inputs folder under `probeTarFile`
 */
export function renderProbeKit(
  name: string,
  inputs: Inputs,
  tar: { readonly sha256: string; readonly size: number },
  templates: Templates,
): Files {
  const packages = inputFiles(inputs).filter(({ kind }) => kind !== 'source');
  const files = [{ kind: 'source', ...tar, file: probeTarFile, urls: [] } as const, ...packages];
  const script = renderProbeScript(templates, tar.sha256);
  return runnableFolder({ name, inputs, files, inside: [], script, templates });
}
