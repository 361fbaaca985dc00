/**
 * The engine in a browser: a page that has nothing but the library's door and the pack of a real tree makes the same
 * bytes as Node, and as the kernel's own programs (merge_config.sh and conf).
 */
import { execFile } from 'node:child_process';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { promisify } from 'node:util';

import { build } from 'esbuild';
import { afterEach, beforeEach, expect, it } from 'vitest';

import { encodePack } from '../../src/kconfig/pack.ts';
import { packOfTree } from '../../src/source/tree-on-disk.ts';
import { makeWorld, type World } from '../container/world.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { runPage } from '../oracle/browser.ts';
import { plainEnvironment } from '../oracle/host-toolchain.ts';
import { kconfigProgram, type KconfigProgram } from '../oracle/kconfig-program.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';
import { recordedAnswers } from '../oracle/recorded-answers.ts';
import { configurePack, type PackJob } from './from-pack.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

/** A module, a number, a text with a byte that is no ASCII, a choice, and one that takes others with it. */
const fragment = `CONFIG_CRC7=m
CONFIG_LOG_BUF_SHIFT=15
CONFIG_DEFAULT_HOSTNAME="otter-b\u00e4nk"
CONFIG_HZ_100=y
# CONFIG_WIRELESS is not set
`;

it('makes the bytes of the kernel’s own program', async (context) => {
  const tree = await orSkip(context, kernelTree('6.12'));
  const program = await orSkip(context, kconfigProgram(tree, 'x86_64'));
  const pack = encodePack(await packOfTree(world.host, tree.folder));
  const answers = [...recordedAnswers(program)];
  const job: PackJob = { arch: 'x86_64', answers, target: 'defconfig', fragment };

  const page = runPage(await bundledPage(), {
    pack: { type: 'application/octet-stream', content: pack },
    job: { type: 'application/json', content: JSON.stringify(job) },
  });
  const { name, content } = await orSkip(context, page);
  if (name !== 'config') throw new Error(content.toString());

  const theirs = await mergedByTheTree(program, job);
  expect(theirs).toContain('CONFIG_DEFAULT_HOSTNAME="otter-b\u00e4nk"\n');
  expect(content.toString('latin1')).toBe(theirs);
  expect(Buffer.from(configurePack(pack, job))).toEqual(content);
});

/** No module of Node can be in it: for a browser esbuild finds none. */
async function bundledPage(): Promise<string> {
  const { outputFiles, metafile } = await build({
    entryPoints: [path.join(import.meta.dirname, 'browser-page.ts')],
    bundle: true,
    platform: 'browser',
    format: 'esm',
    write: false,
    metafile: true,
  });
  const inputs = Object.keys(metafile.inputs).map((input) => path.relative('src', path.resolve(input)));
  const rooms = inputs.filter((input) => !input.startsWith('..')).map((input) => path.dirname(input));
  expect([...new Set(rooms)].sort()).toEqual(['diagnostics', 'kconfig']);
  return outputFiles[0]?.text ?? '';
}

async function mergedByTheTree(program: KconfigProgram, { target }: PackJob): Promise<string> {
  const folder = await mkdtemp(path.join(tmpdir(), 'quern-merge-'));
  try {
    await writeFile(path.join(folder, 'base'), await program.make(target), 'latin1');
    await writeFile(path.join(folder, 'fragment'), fragment, 'latin1');
    const script = path.join(program.tree.folder, 'scripts/kconfig/merge_config.sh');
    await promisify(execFile)('sh', [script, '-m', 'base', 'fragment'], {
      cwd: folder,
      env: { ...plainEnvironment, KCONFIG_CONFIG: 'merged' },
    });
    const config = await readFile(path.join(folder, 'merged'), 'latin1');
    return (await program.run({ mode: 'olddefconfig', config })).config;
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}
