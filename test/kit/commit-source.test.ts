/** A source that is a commit: whoever has the kit has git make the tar, to the same bytes as when it was pinned. */
import { join } from 'node:path';
import { existsSync, readFileSync } from 'node:fs';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { pinCommit } from '../../src/source/git-commit.ts';
import { makeWorld } from '../container/world.ts';
import { GitRepository, serveRepositories, type GitServer } from '../source/git-server.ts';
import { sha256 } from './fixture.ts';
import { layInputs, makeWorkbench, shells, smallShell, type Workbench } from './workbench.ts';

const site = 'https://git.otter-bank.example';
const file = 'linux-6.1.192.tar';

let server: GitServer;
let bench: Workbench;
let repository: GitRepository;
let digest: string;
beforeEach(async () => {
  bench = await makeWorkbench(async (folder) => {
    server = await serveRepositories(folder);
    repository = GitRepository.make(join(folder, 'linux.git'));
    repository.write('Makefile', 'VERSION = 6\n');
    repository.write('dos.txt', 'a\r\nb\r\n');
    repository.write('.gitattributes', 'dos.txt text\nMakefile export-ignore\n');
    repository.commit();
    repository.git('tag', 'v6.1.192');
    const world = makeWorld({ QUERN_MIRRORS: `${site}=${server.url}` });
    const asked = { kind: 'git', url: `${site}/linux.git`, tag: 'v6.1.192', signers: [], keys: [] } as const;
    const nowhere = (): Promise<string> => Promise.reject(new Error('none'));
    const { value } = await pinCommit(world.host, { source: asked, keys: [] }, nowhere);
    world.remove();
    digest = value.sha256;
    return { source: value };
  });
});
afterEach(async () => {
  bench.remove();
  await server.close();
});

const mirrors = (): Record<string, string> => ({ QUERN_MIRRORS: `${site}=${server.url}` });

it.each([...shells, smallShell].map((shell) => [shell]))('is packed, with %j', async (shell) => {
  layInputs(bench);
  const { status, stderr } = await bench.run(['fetch'], {
    shell,
    env: { ...mirrors(), GIT_DIR: '/nonexistent', GIT_CONFIG_GLOBAL: '/nonexistent' },
  });
  expect([status, stderr]).toEqual([0, '']);
  expect(sha256(readFileSync(bench.path('kit', 'inputs', file)))).toBe(digest);
});

it('is fetched by its tag where a server hands out nothing without a name', async () => {
  layInputs(bench);
  let refused = 0;
  server.intercept = (request, response) => {
    if (request.method !== 'POST' || refused > 0) return false;
    refused += 1;
    response.writeHead(500).end();
    return true;
  };
  const { status } = await bench.run(['fetch'], { env: mirrors() });
  expect([status, refused]).toEqual([0, 1]);
});

it('that cannot be fetched, or comes to another tar, leaves nothing and says so', async () => {
  layInputs(bench);
  const target = bench.path('kit', 'inputs', file);
  const away = await bench.run(['fetch'], { env: { QUERN_MIRRORS: `${site}=${server.url}/none` } });
  expect(away.status).toBe(3);
  expect(away.stderr).toContain(`${file} cannot be made of a commit of ${site}/linux.git`);
  expect(existsSync(target)).toBe(false);

  // a git that is none
  bench.program(
    'git',
    'for word; do case $word in --output=*) echo x >"${word#--output=}" ;; esac; done; exit 0',
  );
  const other = await bench.run(['fetch'], { env: mirrors() });
  expect(other.status).toBe(4);
  expect(other.stderr).toContain(digest);
  expect(existsSync(target)).toBe(false);
});

it('that is there already is not made again', async () => {
  layInputs(bench);
  await bench.run(['fetch'], { env: mirrors() });
  const before = server.requests.length;
  expect((await bench.run(['fetch'], { env: mirrors() })).status).toBe(0);
  expect(server.requests).toHaveLength(before);
});
