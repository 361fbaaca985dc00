/** A commit of a git repository as the source, through the commands: without engine. */
import { join } from 'node:path';
import { readFileSync } from 'node:fs';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { check } from '../../src/commands/check.ts';
import { openSpec } from '../../src/commands/open-spec.ts';
import { pinSource } from '../../src/commands/pin-inputs.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { makeWorld, type World } from '../container/world.ts';
import { GitRepository, serveRepositories, type GitServer } from '../source/git-server.ts';
import { gaugeTree, layFiles } from './gauge-tree.ts';

const site = 'https://git.otter-bank.example';

let server: GitServer;
let world: World;
let repository: GitRepository;
beforeEach(async () => {
  world = makeWorld();
  const served = join(world.folder, 'served');
  server = await serveRepositories(served);
  Object.assign(world.host.env, { QUERN_MIRRORS: `${site}=${server.url}` });
  repository = GitRepository.make(join(served, 'linux.git'));
  layFiles(repository.folder, gaugeTree);
  repository.commit();
  repository.git('tag', 'v6.1');
});
afterEach(async () => {
  world.remove();
  await server.close();
});

const spec = (source: string, more = ''): void =>
  layFiles(world.folder, {
    'gauge.yaml': `quern: 1
name: gauge-station
kernel: { version: '6.1.0', source: { git: ${site}/linux.git, ${source} } }
arch: x86_64
config: { base: defconfig, set: { LEVEL: 7 } }
environment: { debian: bookworm }
${more}`,
  });

const options = { spec: 'gauge.yaml', probeHost: true } as const;

it('is checked, with a patch on top', async () => {
  repository.write('Makefile.orig', 'x');
  spec('tag: v6.1', 'patches: [level.patch]\n');
  const old = readFileSync(join(repository.folder, 'Kconfig'), 'latin1');
  repository.write('Kconfig', `${old}\nconfig WEIR\n\tbool "Weir"\n\tdefault y\n`);
  layFiles(world.folder, { 'level.patch': `${repository.git('diff', '--', 'Kconfig')}\n` });
  repository.git('checkout', '--quiet', '--', 'Kconfig');
  const { value, exit } = await check(options, world.host);
  expect(exit).toBe(0);
  expect(value.verdicts).toMatchObject([{ option: 'LEVEL', value: '7', verdict: 'kept' }]);
  // of what the repository has, and not of what lies about beside it
  expect(value.patches).toMatchObject([{ path: 'level.patch', adds: ['WEIR'] }]);
});

it('is pinned with what it was found by', async () => {
  const commit = repository.git('rev-parse', 'HEAD');
  spec(`tag: v6.1, commit: ${commit}`);
  const { source } = await pinSource(world.host, await openSpec(world.host, 'gauge.yaml'));
  expect(source).toMatchObject({ kind: 'git', url: `${site}/linux.git`, tag: 'v6.1', commit });
});

it('that is of another version is refused, as any source is', async () => {
  spec('tag: v6.1');
  layFiles(world.folder, {
    'gauge.yaml': readFileSync(join(world.folder, 'gauge.yaml'), 'utf8').replace("'6.1.0'", "'6.2.0'"),
  });
  const error = await check(options, world.host).catch((reason: unknown) => reason);
  const [first] = error instanceof Failure ? error.diagnostics : [];
  expect(first).toMatchObject({ code: 'command/version-differs', exit: 2 });
  expect(first?.message).toBe('the source is Linux `6.1.0`, and the spec says `6.2.0`');
});
