import { createHash } from 'node:crypto';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Host } from '../host/host.ts';
import { run } from '../host/processes.ts';
import type { Pack } from '../kconfig/pack.ts';
import { readAnswers, type Questions } from '../kconfig/probe-exchange.ts';
import { sourceCodes } from './codes.ts';
import { probeTar } from './probe-tar.ts';

export interface HostProbing {
  /** Renders the script that answers questions (templates/kit/probes.sh.hbs), for a tar with this SHA-256. */
  readonly script: (sha256: string) => string;
  /** Commands that run at once. */
  readonly jobs: number;
}

/**
 * Asks this machine what a tree wants to know: runs the commands that are in its Kconfig files, with the rights of
 * whoever calls, in a folder of its own that is removed afterwards. Only for a tree that is trusted.
 *
 * @throws Failure `source/probes-failed`, and what starting a program throws
 */
export async function askHost(
  host: Host,
  pack: Pack,
  questions: Questions,
  { script, jobs }: HostProbing,
): Promise<ReadonlyMap<string, string>> {
  const work = await mkdtemp(join(tmpdir(), 'quern-probes-'));
  try {
    const tar = await probeTar(pack, questions);
    await writeFile(join(work, 'probes.tar'), tar);
    await writeFile(join(work, 'probes.sh'), script(createHash('sha256').update(tar).digest('hex')));
    const folders = [work, join(work, 'out'), join(work, 'work')];
    const { code, stderr } = await run('sh', [join(work, 'probes.sh'), ...folders], {
      env: { ...host.env, JOBS: String(jobs) },
      signal: host.signal,
      ownGroup: true,
    });
    if (code !== 0) throw failed(stderr);
    const { value, diagnostics } = readAnswers(
      await readFile(join(work, 'out', 'answers')),
      questions.commands,
    );
    if (diagnostics.length > 0) throw new Failure(diagnostics);
    return value;
  } finally {
    await rm(work, { recursive: true, force: true });
  }
}

function failed(stderr: string): Failure {
  return new Failure(
    sourceCodes.report('source/probes-failed', {
      message: 'this machine cannot be asked what the tree wants to know',
      notes: stderr.trim().split('\n').slice(-4),
      help: 'It takes a POSIX shell, tar, head, sha256sum, and room in the folder for temporary files (TMPDIR).',
    }),
  );
}
