import { resolve } from 'node:path';

import { shellTyped } from '../diagnostics/printable.ts';
import { makeOutputFolder, writeFiles, type Ours } from '../host/output-folder.ts';
import type { Host } from '../host/host.ts';
import { sourceFile } from '../kit/input-files.ts';
import { fetchImage } from '../source/fetch-image.ts';
import { fetchSource } from '../source/fetch-inputs.ts';
import { layLayers, laySource } from './inputs-folder.ts';
import type { CommandResult } from './command.ts';
import { locateFor } from './spec-files.ts';
import { openSpec } from './open-spec.ts';
import type { KitOptions } from './options.ts';
import { prepareKit } from './prepare-kit.ts';

export interface KitValue {
  readonly folder: string;
  readonly files: readonly string[];
  readonly kernelRelease: string;
}

/** What a kit has at its top; `inputs` are fetched again when they are needed. */
const names = [
  'Containerfile',
  'README.md',
  'build.sh',
  'check-probes.sh',
  'environment.sh',
  'inputs',
  'inputs.sha256',
  'kernel.config',
  'patches',
  'run.sh',
];
const earlierKit: Ours = {
  mark: 'run.sh',
  says: 'Builds the kernel of this kit.',
  owns: (name) => names.includes(name),
};

/**
 * `quern kit`: renders the kit. What `run.sh` cannot fetch goes with it: a source from this machine's
 * disk, and the layers of an image, which take a conversation with a registry.
 */
export async function kit(options: KitOptions, host: Host): Promise<CommandResult<KitValue>> {
  const opened = await openSpec(host, options.spec);
  const prepared = await prepareKit(opened, options, host);
  const { inputs, answers } = prepared.lock;
  const folder = resolve(host.cwd, options.output);
  await makeOutputFolder(folder, earlierKit, async (aside) => {
    await writeFiles(aside, prepared.kit);
    if (sourceFile(inputs).urls.length === 0) {
      await fetchSource(host, inputs, locateFor(host, opened), { epoch: opened.spec.build.epoch });
      await laySource(host, inputs, `${aside}/inputs`);
    }
    if (inputs.image) {
      await fetchImage(host, inputs.image);
      await layLayers(host, inputs, `${aside}/inputs`);
    }
  });
  const value = {
    folder: options.output,
    files: [...prepared.kit.keys()].sort(),
    kernelRelease: answers.kernelRelease,
  };
  return {
    exit: 0,
    diagnostics: [...opened.diagnostics, ...prepared.diagnostics],
    value,
    text: `the kit for ${answers.kernelRelease} is in ${options.output}: sh ${shellTyped(`${options.output}/run.sh`)}`,
    sources: prepared.sources,
  };
}
