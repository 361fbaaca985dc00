/** A commit of a git repository that holds the very tree of Debian's source: it comes to the same kernel. Two builds. */
import { cpSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { wholeSource } from '../oracle/whole-source.ts';
import { needEngine } from '../setup/engine.ts';
import { GitRepository, serveRepositories, type GitServer } from '../source/git-server.ts';
import { ended, makeWorkspace, type Ran, type Workspace } from './workspace.ts';

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

async function build(folder: string): Promise<string> {
  const built = await quern('build', work.spec, '-o', folder);
  expect(built.stderr).not.toContain('error[');
  expect(built.status).toBe(0);
  return readFileSync(work.path(folder, 'SHA256SUMS'), 'utf8');
}

it(
  'is built to the same artefacts as the package that it was taken from',
  async () => {
    const fromPackage = await build('from-package');
    const lock = JSON.parse(readFileSync(work.path('gauge-station.lock.json'), 'utf8')) as {
      readonly answers: { readonly kernelVersion: string };
    };
    work.change(work.spec, '{ debian: linux-source-6.1 }', `{ git: ${site}/linux.git, commit: ${commit} }`);
    work.change(work.spec, "version: '6.1'", `version: '${lock.answers.kernelVersion}'`);
    expect(await build('from-commit')).toBe(fromPackage);
  },
  90 * minutes,
);
