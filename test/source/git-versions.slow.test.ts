/**
 * A lock is pinned with one git and used with another: those of Debian's bullseye (2.30) and trixie (2.47) come to the same
 * tar as the one of this machine. bullseye's does all of it; trixie's, whose helpers for the network want a newer C library
 * than other releases have, packs what is in a repository.
 */
import { execFileSync } from 'node:child_process';
import { appendFileSync, mkdirSync } from 'node:fs';
import { join } from 'node:path';

import { afterAll, beforeAll, expect, it } from 'vitest';

import { archiveUmask, plainAttributes } from '../../src/kit/commit-archive.ts';
import { pinCommit } from '../../src/source/git-commit.ts';
import { makeWorld, type World } from '../container/world.ts';
import { fetchPackage } from '../oracle/apt-root.ts';
import { GitRepository, serveRepositories, type GitServer } from './git-server.ts';

const site = 'https://git.otter-bank.example';

let world: World;
let server: GitServer;
let repository: GitRepository;
beforeAll(async () => {
  world = makeWorld();
  const served = join(world.folder, 'served');
  server = await serveRepositories(served);
  repository = GitRepository.make(join(served, 'linux.git'));
  repository.write('Makefile', 'VERSION = 6\n');
  // a name that takes a header of its own in a tar
  repository.write(`drivers/${'river/'.repeat(30)}weir.c`, 'int weir;\n');
  repository.write('dos.txt', 'a\r\nb\r\n');
  repository.write('old.c', '/* $Id$ $Format:%H$ */\n');
  repository.write('.gitattributes', 'dos.txt text\nold.c ident export-subst\nMakefile export-ignore\n');
  repository.commit();
  repository.git('tag', 'v6.1.192');
});
afterAll(async () => {
  world.remove();
  await server.close();
});

async function unpacked(own: World, release: 'bullseye' | 'trixie', ...packages: string[]): Promise<string> {
  const root = join(own.folder, 'root');
  mkdirSync(root);
  for (const name of packages) execFileSync('dpkg-deb', ['-x', await fetchPackage(name, { release }), root]);
  return root;
}

async function pinned(own: World): Promise<string> {
  const asked = { kind: 'git', url: `${site}/linux.git`, tag: 'v6.1.192', signers: [], keys: [] } as const;
  const nowhere = (): Promise<string> => Promise.reject(new Error('none'));
  const { value } = await pinCommit(own.host, { source: asked, keys: [] }, nowhere);
  return value.sha256;
}

it('gits of three releases make one tar of a commit', async () => {
  const env = { QUERN_MIRRORS: `${site}=${server.url}` };
  const worlds = { here: makeWorld(env), bullseye: makeWorld(env), trixie: makeWorld(env) };
  try {
    const here = await pinned(worlds.here);

    const old = await unpacked(worlds.bullseye, 'bullseye', 'git');
    const program = `GIT_EXEC_PATH=${old}/usr/lib/git-core exec ${old}/usr/bin/git "$@"`;
    worlds.bullseye.program('git', program);
    const { PATH = '' } = worlds.bullseye.host.env;
    expect(execFileSync('git', ['--version'], { env: { PATH } }).toString()).toContain(' 2.30.');
    expect(await pinned(worlds.bullseye)).toBe(here);

    const young = await unpacked(worlds.trixie, 'trixie', 'git', 'libc6', 'zlib1g', 'libpcre2-8-0');
    const library = `${young}/usr/lib/x86_64-linux-gnu`;
    const git = [`${library}/ld-linux-x86-64.so.2`, '--library-path', library, `${young}/usr/bin/git`];
    const [loader = '', ...words] = git;
    const run = (...more: readonly string[]): Buffer =>
      execFileSync(loader, [...words, '-C', repository.folder, ...more], { maxBuffer: 1 << 26 });
    expect(run('--version').toString()).toContain(' 2.47.');
    appendFileSync(join(repository.folder, '.git/info/attributes'), `${plainAttributes}\n`);
    const commit = repository.git('rev-parse', 'HEAD');
    const tar = run(
      '-c',
      `tar.umask=${archiveUmask}`,
      'archive',
      '--format=tar',
      '--prefix=linux-6.1.192/',
      commit,
    );
    expect(execFileSync('sha256sum', { input: tar }).toString().slice(0, 64)).toBe(here);
  } finally {
    for (const own of Object.values(worlds)) own.remove();
  }
});
