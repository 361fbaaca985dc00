import { resolve } from 'node:path';

import { makeOutputFolder, writeFiles } from '../host/output-folder.ts';
import type { Host } from '../host/host.ts';
import { sourceFile } from '../kit/input-files.ts';
import { fetchSource } from '../source/fetch-inputs.ts';
import { laySource } from './inputs-folder.ts';
import type { CommandResult } from './command.ts';
import { openSpec } from './open-spec.ts';
import type { KitOptions } from './options.ts';
import { prepareKit } from './prepare-kit.ts';

export interface KitValue {
  readonly folder: string;
  readonly files: readonly string[];
  readonly kernelRelease: string;
}

/** By this file an earlier kit of ours is known. */
const mark = 'inputs.sha256';

/** `quern kit`: renders the kit. A source that came from this machine's disk goes with it: nobody else can fetch that. */
export async function kit(options: KitOptions, host: Host): Promise<CommandResult<KitValue>> {
  const opened = await openSpec(host, options.spec);
  const prepared = await prepareKit(opened, options, host);
  const { inputs, answers } = prepared.lock;
  const folder = resolve(host.cwd, options.output);
  await makeOutputFolder(folder, mark, async (aside) => {
    await writeFiles(aside, prepared.kit);
    if (sourceFile(inputs).urls.length === 0) {
      await fetchSource(host, inputs, opened.folder, { epoch: opened.spec.build.epoch });
      await laySource(host, inputs, `${aside}/inputs`);
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
    text: `the kit for ${answers.kernelRelease} is in ${options.output}: sh ${options.output}/run.sh`,
    sources: opened.sources,
  };
}
