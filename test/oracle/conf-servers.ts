/**
 * Programs that have read the Kconfig files and wait for jobs, one for each mode: kconfig-replay.c forks conf behind
 * the point where it has parsed, so that every job starts from there.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { readFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';

import {
  confWords,
  defconfigFile,
  layJob,
  takeResult,
  type ConfBinary,
  type ConfJob,
  type ConfMode,
  type ConfResult,
} from './conf-run.ts';
import { lineWorker, type LineWorker } from './line-worker.ts';

export class ConfServers {
  readonly #binary: ConfBinary;
  readonly #environment: Readonly<Record<string, string>>;
  readonly #servers = new Map<ConfMode, LineWorker>();
  #folder = '';

  constructor(binary: ConfBinary, environment: Readonly<Record<string, string>>) {
    this.#binary = binary;
    this.#environment = environment;
  }

  async run(job: ConfJob, folder: string): Promise<ConfResult> {
    const variables = await layJob(job, folder);
    const server = this.#servers.get(job.mode) ?? this.#start(job.mode);
    const assignments = Object.entries(variables).map((pair) => pair.join('='));
    const status = Number(await server.ask([folder, ...assignments].join('\t')));
    const printed = (name: string): Promise<string> => readFile(path.join(folder, name), 'latin1');
    // Older programs say their first seed, which no job has, among their complaints.
    const before = server.said().replace(/^KCONFIG_SEED=.*\n/mu, '');
    return {
      status,
      ...(await takeResult(job, folder)),
      stdout: await printed('stdout'),
      stderr: before + (await printed('stderr')),
    };
  }

  async close(): Promise<void> {
    const servers = [...this.#servers.values()];
    this.#servers.clear();
    await Promise.all(servers.map((server) => server.close()));
    if (this.#folder !== '') rmSync(this.#folder, { recursive: true, force: true });
    this.#folder = '';
  }

  #start(mode: ConfMode): LineWorker {
    // There is nothing in it that a relative name could find.
    this.#folder ||= mkdtempSync(path.join(tmpdir(), 'quern-conf-'));
    const server = lineWorker(this.#binary.conf, confWords(mode), {
      cwd: this.#folder,
      env: {
        ...this.#environment,
        KCONFIG_SEED: '1',
        LD_PRELOAD: this.#binary.preload,
        REFEREE_FORK: defconfigFile,
      },
      // randconfig says its seed before it has read the Kconfig files.
      answer: /^\d+$/u,
    });
    this.#servers.set(mode, server);
    return server;
  }
}
