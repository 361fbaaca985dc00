import { copyFile, mkdir, symlink } from 'node:fs/promises';
import { join, resolve } from 'node:path';

import type { Host } from '../host/host.ts';
import { inputFiles, type InputFile } from '../kit/input-files.ts';
import { storedSource } from '../source/fetch-inputs.ts';
import type { Inputs } from '../spec/lock.ts';

/**
 * Lays the inputs, which are in the store by now, into a folder under the names that a kit knows them by. By symbolic
 * links: another hard link changes the change time of a file, and whoever copies it at that moment finds it altered.
 */
export async function layInputs(host: Host, inputs: Inputs, folder: string): Promise<void> {
  for (const file of await heldInputs(host, inputs)) await layFile(host, file, folder, symlink);
}

/** The same without the source, for what has another tree to look at. */
export async function layPackages(host: Host, inputs: Inputs, folder: string): Promise<void> {
  const packages = inputFiles(inputs).filter(({ kind }) => kind !== 'source');
  for (const file of packages) await layFile(host, file, folder, symlink);
}

/** The same for the source alone, as a file of its own that may go elsewhere. */
export async function laySource(host: Host, inputs: Inputs, folder: string): Promise<void> {
  const source = (await heldInputs(host, inputs)).filter(({ kind }) => kind === 'source');
  for (const file of source) await layFile(host, file, folder, copyFile);
}

/** The same for the layers of the image, as files of their own. */
export async function layLayers(host: Host, inputs: Inputs, folder: string): Promise<void> {
  const layers = inputFiles(inputs).filter(({ kind }) => kind === 'layer');
  for (const file of layers) await layFile(host, file, folder, copyFile);
}

/** As they lie in the store, where a source that was fetched may have another compression than it was pinned in. */
export async function heldInputs(host: Host, inputs: Inputs): Promise<readonly InputFile[]> {
  const sha256 = await storedSource(host, inputs);
  return inputFiles(inputs).map((file) => (file.kind === 'source' ? { ...file, sha256 } : file));
}

async function layFile(
  host: Host,
  { file, sha256 }: InputFile,
  folder: string,
  lay: (from: string, to: string) => Promise<void>,
): Promise<void> {
  await mkdir(folder, { recursive: true });
  await lay(resolve(host.store.path(sha256)), join(folder, file));
}
