/** Referee: the trees' own scripts/setlocalversion. */
import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { kernelRelease } from '../../src/kconfig/kernel-release.ts';
import { treeOnDisk } from '../../src/source/tree-on-disk.ts';
import { kernelTree } from '../oracle/kernel-trees.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'quern-release-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const parts = [
  ['nothing', {}, '', ''],
  ['the command line', {}, '', '-gauge'],
  ['the configuration', {}, '-otter', ''],
  ['both', {}, '-otter', '-gauge'],
  [
    'files, in the order of their names',
    { 'localversion-rt': '-rt30\n', localversion: '-a' },
    '-otter',
    '-g',
  ],
  ['a file with blanks', { 'localversion.x': ' a b \n\n' }, '', ''],
  [
    "an editor's backup",
    { 'localversion~': '-old', 'localversion-1~': '-older', localversion2: '-b' },
    '',
    '',
  ],
] as const satisfies readonly (readonly [string, Record<string, string>, string, string])[];

// 6.1 says the version in its Makefile, 6.12 in the script
describe.each(['6.1', '6.12'] as const)('the release of Linux %s', (series) => {
  it.each(parts)('with %s', async (_, files, ofConfig, localversion) => {
    const tree = await kernelTree(series);
    for (const [name, text] of Object.entries(files)) writeFileSync(join(folder, name), text);
    mkdirSync(join(folder, 'include/config'), { recursive: true });
    // as the kernel's program writes it: a string without its quotes
    writeFileSync(join(folder, 'include/config/auto.conf'), `CONFIG_LOCALVERSION=${ofConfig}\n`);
    const { stdout, stderr } = spawnSync('sh', [join(tree.folder, 'scripts/setlocalversion')], {
      cwd: folder,
      env: { PATH: process.env['PATH'], LOCALVERSION: localversion, KERNELVERSION: '6.9.1', srctree: '.' },
      encoding: 'utf8',
    });
    expect(stderr).toBe('');
    const said = series === '6.1' ? `6.9.1${stdout}` : stdout;
    const config = `CONFIG_LOCALVERSION="${ofConfig}"\n# CONFIG_LOCALVERSION_AUTO is not set\n`;
    expect(`${kernelRelease(treeOnDisk(folder), '6.9.1', config, localversion)}\n`).toBe(said);
  });
});
