/** The base packages are unpacked on the machine itself: what hostile ones hold must stay in the scratch folder. */
import { spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, expect, it } from 'vitest';

import type { PackagePin } from '../../src/spec/lock.ts';
import { inputs, sha256 } from './fixture.ts';
import { deb, type Entry } from './package-file.ts';
import { layInputs, makeWorkbench, shells, smallShell, type Workbench } from './workbench.ts';

let bench: Workbench | undefined;
afterEach(() => bench?.remove());

/** A kit whose base packages have this data, in this order; they may know the folder that they must not reach. */
async function kitOf(debs: (victim: string) => readonly Buffer[]): Promise<Workbench> {
  let contents: readonly Buffer[] = [];
  const made = await makeWorkbench((folder) => {
    contents = debs(join(folder, 'victim'));
    const packages = contents.map((content, index): PackagePin => ({
      package: `base-${index}`,
      version: '1',
      architecture: 'amd64',
      essential: true,
      origin: 'debian',
      path: `pool/base-${index}_1_amd64.deb`,
      size: content.length,
      sha256: sha256(content),
    }));
    return { packages: [...packages, ...inputs.packages.slice(1)] };
  });
  bench = made;
  layInputs(made);
  for (const [index, content] of contents.entries()) {
    made.write(`kit/inputs/base-${index}_1_amd64.deb`, content);
  }
  mkdirSync(made.path('victim'));
  for (const name of ['passwd', 'group', 'f', 'environment.sh']) made.write(`victim/${name}`, 'canary');
  return made;
}

function expectCanaries(made: Workbench): void {
  expect(readdirSync(made.path('victim')).sort()).toEqual(['environment.sh', 'f', 'group', 'passwd']);
  for (const name of readdirSync(made.path('victim'))) {
    expect(readFileSync(made.path('victim', name), 'utf8')).toBe('canary');
  }
  expect(readdirSync(made.path('tmp'))).toEqual([]);
}

const etc: Entry[] = [{ name: './etc/' }, { name: './etc/passwd', text: 'x' }];

it('makes a seed of all base packages, with every package and the script beside them', async () => {
  const made = await kitOf(() => [
    deb([...etc, { name: './bin/sh', text: 'shell' }]),
    deb([
      { name: './usr/share/' },
      { name: './usr/share/far', link: '/nowhere/at/all' },
      { name: './usr/share/up', link: '../lib' },
      { name: './etc/name', text: 'y' },
    ]),
  ]);
  const ran = await made.run(['environment']);
  expect(ran.stderr).toBe('');
  expect(ran.status).toBe(0);
  const { stdout } = spawnSync('tar', ['-tvf', made.path('state/seed.tar')], { encoding: 'utf8' });
  const names = stdout.split('\n').map((line) => line.split(/\s+/u).slice(5).join(' '));
  expect(names).toEqual(
    expect.arrayContaining([
      './bin -> usr/bin',
      './usr/bin/sh',
      './usr/share/far -> /nowhere/at/all',
      './usr/share/up -> ../lib',
      './etc/name',
      'environment.sh',
      'quern-packages/base-0_1_amd64.deb',
      'quern-packages/gcc_12.2.0-3+b1_amd64.deb',
    ]),
  );
  expect(names).not.toContain('./etc/passwd');
  expect(stdout).not.toMatch(/linux-source/u);
  expect(stdout.split('\n').filter((line) => line !== '' && !/ 0\/0 |root\/root/u.test(line))).toEqual([]);
  expectCanaries(made);
});

const hostile: readonly (readonly [string, (victim: string) => readonly Buffer[]])[] = [
  [
    'a link of one package that the next one writes through',
    (victim) => [
      deb([...etc, { name: './usr/share/' }, { name: './usr/share/x', link: victim }]),
      deb([{ name: './usr/share/x/f', text: 'hit' }]),
    ],
  ],
  [
    'a link through ".." that the next one writes through',
    (victim) => [
      deb([...etc, { name: './x', link: `../../../../../../../../../..${victim}` }]),
      deb([{ name: './x/f', text: 'hit' }]),
    ],
  ],
  [
    'a link in one package, written through by the same',
    (victim) => [deb([...etc, { name: './x', link: victim }, { name: './x/f', text: 'hit' }])],
  ],
  [
    'a link that another link leads to',
    (victim) => [
      deb([...etc, { name: './x', link: victim }]),
      deb([{ name: './y', link: 'x' }]),
      deb([{ name: './y/f', text: 'hit' }]),
    ],
  ],
  ['/etc that is a link', (victim) => [deb([{ name: './etc', link: victim }])]],
  [
    '/etc that turns into a link, with a file below it',
    (victim) => [deb([{ name: './etc', link: victim }]), deb([{ name: './etc/f', text: 'hit' }])],
  ],
  ['no /etc at all', () => [deb([{ name: './usr/share/x', text: '' }])]],
  ['a pipe', () => [deb([...etc, { name: './usr/pipe', fifo: true }])]],
  [
    'a name that climbs out',
    (victim) => [deb([...etc, { name: `./../../../../../../../../../..${victim}/f`, text: 'hit' }])],
  ],
];

it.each(hostile)('writes nothing elsewhere: %s', async (_, debs) => {
  const kit = await kitOf(debs);
  const ran = await kit.run(['environment']);
  expect(ran.stderr).toMatch(/^run\.sh: the packages /mu);
  expect(ran.status).toBe(4);
  expectCanaries(kit);
  expect(kit.calls().filter(([word]) => word === 'build')).toEqual([]);
});

it('leaves a link in the place of what is ours alone', async () => {
  const kit = await kitOf(() => [
    deb([
      ...etc,
      { name: './packages', link: '../victim' },
      { name: './environment.sh', link: '../../../victim/f' },
    ]),
  ]);
  expect((await kit.run(['environment'])).status).toBe(0);
  expectCanaries(kit);
});

it.each([
  ['a variable that is a number', 'at'],
  ['nothing', ''],
  ['a negative number', '-60'],
  ['an octal number', '010'],
])('takes no size of a member that is %s', async (_, size) => {
  for (const shell of shells) {
    const kit = await kitOf(() => [deb(etc, size)]);
    const ran = await kit.run(['environment'], { shell });
    expect(ran.stderr).toContain('the size of a member is not a number');
    expect(ran.status).toBe(4);
    expectCanaries(kit);
    expect(readdirSync(kit.folder)).not.toContain('hit');
    kit.remove();
  }
});

it('runs nothing that stands where the size should, whatever shell reads it', async () => {
  // ten characters hold a command: `>hit` makes a file, and `at` is a variable of the script, which has a value
  for (const shell of [['bash'], ...shells]) {
    const kit = await kitOf(() => [deb(etc, 'at[`>hit`]')]);
    expect((await kit.run(['environment'], { shell })).status).toBe(4);
    expect(readdirSync(kit.folder)).not.toContain('hit');
    kit.remove();
  }
});

it.each([
  ['is no package', Buffer.from('not an archive')],
  ['has no data member', Buffer.from('!<arch>\n')],
  ['is damaged', deb(etc).subarray(0, -20)],
])('tells a file that %s', async (words, content) => {
  const kit = await kitOf(() => [content]);
  const ran = await kit.run(['environment']);
  expect(`${ran.stderr}`).toMatch(new RegExp(`^run\\.sh: .*(?:${words}|cannot be unpacked)`, 'mu'));
  expect(ran.status).toBe(4);
  expectCanaries(kit);
});

it('says that it needs GNU tar where there is another', async () => {
  const kit = await kitOf(() => [deb(etc)]);
  const ran = await kit.run(['environment'], { shell: smallShell });
  expect(ran.stderr).toContain('tar is not GNU tar');
  expect(ran.status).toBe(3);
});
