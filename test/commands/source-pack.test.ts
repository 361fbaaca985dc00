/** What patches make of the part of a source that a configuration hangs on. Referee: git, which makes the patches. */
import { join } from 'node:path';

import { afterEach, beforeEach, expect, it } from 'vitest';

import { openSpec } from '../../src/commands/open-spec.ts';
import { pinSource } from '../../src/commands/pin-inputs.ts';
import { patchedPack, type PatchedPack } from '../../src/commands/source-pack.ts';
import { readSpecFiles } from '../../src/commands/spec-files.ts';
import { makeWorld, type World } from '../container/world.ts';
import { GitRepository } from '../source/git-server.ts';
import { gaugeTree, layFiles } from './gauge-tree.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

const key = '-----BEGIN CERTIFICATE-----\n'.repeat(20);

/** A tree with these files beside the usual ones, and a patch that brings it to the other state. */
async function patched(
  before: Readonly<Record<string, string>>,
  change: (tree: GitRepository) => void,
): Promise<PatchedPack> {
  const tree = GitRepository.make(join(world.folder, 'work'));
  layFiles(tree.folder, { ...gaugeTree, ...before });
  tree.commit();
  layFiles(join(world.folder, 'linux'), { ...gaugeTree, ...before });
  change(tree);
  tree.git('add', '--all', '--force');
  layFiles(world.folder, {
    'weir.patch': `${tree.git('diff', '--cached', '--find-renames')}\n`,
    'weir.yaml': `quern: 1
name: weir
kernel: { version: 6.1.0, source: { tree: linux } }
arch: x86_64
config: { base: gauge_defconfig }
patches: [weir.patch]
environment: { debian: bookworm }
build: { epoch: 2026-01-01T00:00:00Z }
`,
  });
  const opened = await openSpec(world.host, 'weir.yaml');
  const { patches } = await readSpecFiles(world.host, opened);
  return patchedPack(world.host, opened, await pinSource(world.host, opened), patches, { whole: true });
}

it('has what a patch brings and Kconfig files name by its path, and what that names', async () => {
  const { pack } = await patched({}, (tree) => {
    tree.write('Kconfig', `${gaugeTree['Kconfig']}source "drivers/weir/options.in"\n`);
    tree.write('drivers/weir/options.in', 'source "drivers/weir/more.in"\n');
    tree.write('drivers/weir/more.in', 'config WEIR\n\tbool "Weir"\n');
    tree.write('drivers/weir/other.in', 'nobody names it\n');
  });
  expect(pack.read('drivers/weir/more.in')).toBe('config WEIR\n\tbool "Weir"\n');
  expect([...pack.files.keys()].filter((path) => path.startsWith('drivers/'))).toEqual([
    'drivers/weir/more.in',
    'drivers/weir/options.in',
  ]);
});

it('knows which keys there are after keys were brought, moved and removed', async () => {
  const { pack } = await patched(
    { 'certs/old.pem': key, 'certs/gone.pem': `${key}gone\n`, 'certs/stays.pem': `${key}stays\n` },
    (tree) => {
      tree.git('mv', 'certs/old.pem', 'certs/new.pem');
      tree.git('rm', '--quiet', 'certs/gone.pem');
      tree.write('certs/brought.pem', 'an otter\n');
    },
  );
  expect([...pack.keys]).toEqual(['certs/brought.pem', 'certs/new.pem', 'certs/stays.pem']);
});
