/** The README's example of the library, word for word, against the kernel's own program. */
import { execFileSync } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { transform } from 'esbuild';
import { afterAll, expect, it } from 'vitest';

import { packageRoot } from '../../src/host/package-root.ts';
import { orSkip } from '../oracle/apt-root.ts';
import { plainEnvironment } from '../oracle/host-toolchain.ts';
import { kconfigProgram } from '../oracle/kconfig-program.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';
import { builtCli } from '../setup/built-cli.ts';

const folder = mkdtempSync(join(tmpdir(), 'quern-readme-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it('writes the configuration that the kernel’s own program writes', async (context) => {
  const tree = await orSkip(context, kernelTree('6.12'));
  const program = await orSkip(context, kconfigProgram(tree, 'x86_64'));
  builtCli();
  const readme = readFileSync(join(packageRoot(), 'README.md'), 'utf8');
  const [, example = ''] = /^```ts\n(.*?)^```$/msu.exec(readme) ?? [];
  expect(example).toContain("from 'quern/kconfig'");

  // as it stands where the package is installed, beside a tree whose probes may leave things in it
  mkdirSync(join(folder, 'node_modules'));
  symlinkSync(packageRoot(), join(folder, 'node_modules/quern'));
  symlinkSync(join(packageRoot(), 'node_modules/@types'), join(folder, 'node_modules/@types'));
  cpSync(tree.folder, join(folder, 'linux'), { recursive: true, verbatimSymlinks: true });
  writeFileSync(join(folder, 'example.mts'), example);
  const tsc = join(packageRoot(), 'node_modules/.bin/tsc');
  const options = ['--noEmit', '--strict', '--skipLibCheck', '--module', 'nodenext', '--types', 'node'];
  execFileSync(tsc, [...options, 'example.mts'], { cwd: folder, stdio: 'inherit' });

  const { code } = await transform(example, { loader: 'ts', format: 'esm' });
  const ours = execFileSync(process.execPath, ['--input-type=module', '-e', code], {
    cwd: folder,
    env: plainEnvironment,
    encoding: 'latin1',
    maxBuffer: 64 << 20,
  });
  const [, config = ''] = /'(CONFIG_.*?)\\n'/u.exec(example) ?? [];
  const theirs = await program.run({ mode: 'olddefconfig', config: `${config}\n` });
  expect(ours).toBe(theirs.config);
});
