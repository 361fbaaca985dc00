import { createHash } from 'node:crypto';
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import type { Engine } from '../container/engine.ts';
import { runKit } from '../container/run-kit.ts';
import type { Host } from '../host/host.ts';
import { writeFiles } from '../host/output-folder.ts';
import { assemble, type Request } from '../kconfig/requests.ts';
import { renderQuestions } from '../kit/kit.ts';
import type { Inputs } from '../spec/lock.ts';
import type { Spec } from '../spec/spec.ts';
import { layInputs } from './inputs-folder.ts';
import { readKitTemplates } from './kit-templates.ts';
import type { LocalFiles } from './spec-files.ts';

/** What the environment says of the tree, the toolchain and the configuration. */
export interface EnvironmentAnswers {
  readonly toolchain: Readonly<Record<string, string>>;
  readonly kernelVersion: string;
  readonly kernelRelease: string;
  /** Seconds since 1970: the newest time of a file in the source. */
  readonly newest: number;
  /** The resolved `.config`. */
  readonly config: Uint8Array;
  /** Names of all options that the tree's Kconfig files define. */
  readonly options: ReadonlySet<string>;
  /** Options of the resolved configuration that name a key file which the tree does not have. */
  readonly missingKeys: readonly { readonly option: string; readonly file: string }[];
}

/**
 * Makes the environment and asks it, without network. The inputs must be in the store.
 *
 * @throws Failure what `runKit` throws: a patch that does not apply, a base that the tree does not have …
 */
export async function askEnvironment(
  host: Host,
  engine: Engine,
  spec: Spec,
  inputs: Inputs,
  files: LocalFiles,
  requests: readonly Request[],
): Promise<EnvironmentAnswers> {
  const work = await mkdtemp(join(tmpdir(), 'quern-pin-'));
  try {
    const asked = Buffer.from(assemble('', requests), 'latin1');
    const kit = renderQuestions(
      spec,
      inputs,
      { sha256: createHash('sha256').update(asked).digest('hex'), content: asked },
      files.base,
      files.patches,
      await readKitTemplates(),
    );
    const run = {
      engine,
      folder: join(work, 'kit'),
      inputs: join(work, 'inputs'),
      out: join(work, 'answers'),
    };
    await writeFiles(run.folder, kit);
    await layInputs(host, inputs, run.inputs);
    await runKit(host, 'environment', run);
    await runKit(host, 'build', run);
    return await readAnswers(run.out);
  } finally {
    await rm(work, { recursive: true, force: true });
  }
}

async function readAnswers(folder: string): Promise<EnvironmentAnswers> {
  const text = async (name: string): Promise<string> => (await readFile(join(folder, name), 'latin1')).trim();
  const lines = async (name: string): Promise<readonly string[]> =>
    (await text(name)).split('\n').filter(Boolean);
  const firstWord = (line: string): readonly [string, string] => {
    const at = line.indexOf(' ');
    return [line.slice(0, at), line.slice(at + 1)];
  };
  return {
    toolchain: Object.fromEntries((await lines('toolchain')).map(firstWord)),
    kernelVersion: await text('kernel-version'),
    kernelRelease: await text('kernel-release'),
    newest: Number(await text('newest')),
    config: await readFile(join(folder, 'kernel.config')),
    options: new Set(await lines('options')),
    missingKeys: (await lines('missing-keys')).map(firstWord).map(([option, file]) => ({ option, file })),
  };
}
