import { createHash } from 'node:crypto';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import type { Engine } from '../container/engine.ts';
import { runKit } from '../container/run-kit.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import type { Host } from '../host/host.ts';
import { writeFiles } from '../host/output-folder.ts';
import { noProgress } from '../host/progress.ts';
import { probeTarFile, renderProbeKit } from '../kit/probe-kit.ts';
import type { Pack } from '../kconfig/pack.ts';
import { readAnswers } from '../kconfig/probe-exchange.ts';
import { probeTar } from '../source/probe-tar.ts';
import type { Inputs } from '../spec/lock.ts';
import type { Ask } from './answer-tree.ts';
import { layPackages } from './inputs-folder.ts';
import { readKitTemplates } from './kit-templates.ts';

/**
 * Asks the pinned environment, without network. Its packages must be in the store; the image is made by the first
 * round, unless there is one, and serves the build as well.
 *
 * @param name of the spec
 * @param pack of the patched tree
 * @returns throws what `runKit` throws, and Failure `kconfig/bad-probe-file`
 */
export function askInContainer(host: Host, engine: Engine, name: string, inputs: Inputs, pack: Pack): Ask {
  return async (questions) => {
    const work = await mkdtemp(join(tmpdir(), 'quern-ask-'));
    try {
      const tar = await probeTar(pack, questions);
      const pin = { sha256: createHash('sha256').update(tar).digest('hex'), size: tar.length };
      const kit = {
        engine,
        folder: join(work, 'kit'),
        inputs: join(work, 'inputs'),
        out: join(work, 'answers'),
      };
      await writeFiles(kit.folder, renderProbeKit(name, inputs, pin, await readKitTemplates()));
      await layPackages(host, inputs, kit.inputs);
      await writeFile(join(kit.inputs, probeTarFile), tar);
      await runKit(host, 'environment', kit);
      const { length } = questions.commands;
      host.progress.stage(`asking the environment, ${length === 1 ? '1 question' : `${length} questions`}`);
      // the steps of a round are the same every time, and take seconds
      await runKit({ ...host, progress: noProgress }, 'build', kit);
      host.progress.end();
      const { value, diagnostics } = readAnswers(
        await readFile(join(kit.out, 'answers')),
        questions.commands,
      );
      if (diagnostics.length > 0) throw new Failure(diagnostics);
      return value;
    } finally {
      await rm(work, { recursive: true, force: true });
    }
  };
}
