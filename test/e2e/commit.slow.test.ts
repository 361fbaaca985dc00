/** A commit of a git repository that holds the very tree of Debian's source: it comes to the same kernel. Two builds. */
import { cpSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { wholeSource } from '../oracle/whole-source.ts';
import { builtCli } from '../setup/built-cli.ts';
import { needEngine } from '../setup/engine.ts';
import { GitRepository, serveRepositories, type GitServer } from '../source/git-server.ts';
import { ended, makeWorkspace, withoutNetwork, type Ran, type Workspace } from './workspace.ts';

needEngine();

const minutes = 60_000;
const site = 'https://git.otter-bank.example';

let work: Workspace;
let server: GitServer;
let commit: string;
beforeAll(async () => {
  work = makeWorkspace();
  const served = work.path('served');
  cpSync(await wholeSource(), join(served, 'linux.git'), { recursive: true, verbatimSymlinks: true });
  const repository = GitRepository.make(join(served, 'linux.git'));
  commit = repository.commit();
  server = await serveRepositories(served);
}, 20 * minutes);
afterAll(async () => {
  work.remove();
  await server.close();
});

/** Without blocking this process, in which the server is. */
const quern = (...words: readonly string[]): Promise<Ran> =>
  ended(work.start(words, { QUERN_MIRRORS: `${site}=${server.url}` }));

const sums = (...folder: string[]): string => readFileSync(work.path(...folder, 'SHA256SUMS'), 'utf8');

it(
  'kept, and built without the repository and without network, comes to what the package comes to',
  async () => {
    const built = await quern('build', work.spec, '-o', 'from-package');
    expect(built.stderr).not.toContain('error[');
    expect(built.status).toBe(0);

    const lock = JSON.parse(readFileSync(work.path('gauge-station.lock.json'), 'utf8')) as {
      readonly answers: { readonly kernelVersion: string };
    };
    work.change(work.spec, '{ debian: linux-source-6.1 }', `{ git: ${site}/linux.git, commit: ${commit} }`);
    work.change(work.spec, "version: '6.1'", `version: '${lock.answers.kernelVersion}'`);
    for (const words of [
      ['pin', work.spec],
      ['keep', work.spec, '-o', 'kept'],
    ]) {
      const done = await quern(...words);
      expect(done.stderr).not.toContain('error[');
      expect(done.status).toBe(0);
    }

    const store = work.path('empty-store');
    const again = withoutNetwork(
      [process.execPath, builtCli(), 'build', 'kept/gauge-station.yaml', '-o', 'from-commit'],
      work.folder,
      { ...work.env, QUERN_STORE: store },
    );
    expect(again.stderr).not.toContain('error[');
    expect(again.status).toBe(0);
    expect(sums('from-commit')).toBe(sums('from-package'));
  },
  90 * minutes,
);
