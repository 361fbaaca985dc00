import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, readdirSync, statSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { Failure } from '../../src/diagnostics/catalogue.ts';
import { makeOutputFolder, writeFiles, writeWhole, type Ours } from '../../src/host/output-folder.ts';
import { makeWorld, type World } from '../container/world.ts';

let world: World;
let out: string;
beforeEach(() => {
  world = makeWorld();
  out = join(world.folder, 'place', 'out');
});
afterEach(() => world.remove());

const ours: Ours = { mark: 'mark', says: 'made by us', owns: (name) => ['mark', 'kernel'].includes(name) };
const fill = async (aside: string): Promise<void> =>
  writeFiles(
    aside,
    new Map([
      ['mark', Buffer.from('made by us')],
      ['kernel', Buffer.from('new')],
    ]),
  );
const make = (): Promise<void> => makeOutputFolder(out, ours, fill);
const earlier = (mark: string): void => {
  mkdirSync(out, { recursive: true });
  writeFileSync(join(out, 'mark'), mark);
  writeFileSync(join(out, 'kernel'), 'old');
};
const kernel = (): string => readFileSync(join(out, 'kernel'), 'utf8');

const refusal = async (work: Promise<void>): Promise<string> => {
  const error: unknown = await work.catch((caught: unknown) => caught);
  if (error instanceof Failure) return `${error.diagnostics[0]?.code}: ${error.message}`;
  throw new Error(`no Failure: ${String(error)}`);
};

describe('makeOutputFolder', () => {
  it('makes a new folder, fills an empty one, and replaces an earlier one of ours', async () => {
    await make();
    expect(kernel()).toBe('new');
    writeFileSync(join(out, 'kernel'), 'changed');
    await make();
    expect(kernel()).toBe('new');
    expect(readdirSync(join(world.folder, 'place'))).toEqual(['out']);
  });

  it.each([
    ['a mark that another program has written', () => earlier('something else')],
    [
      "somebody's own file among ours",
      () => (earlier('made by us'), writeFileSync(join(out, 'thesis.txt'), 'mine')),
    ],
    ['a file', () => (mkdirSync(join(world.folder, 'place')), writeFileSync(out, 'mine'))],
    [
      'a link to an empty folder',
      () => (mkdirSync(join(world.folder, 'place', 'empty'), { recursive: true }), symlinkSync('empty', out)),
    ],
  ])('leaves %s alone', async (_, prepare) => {
    prepare();
    expect(await refusal(make())).toMatch(/^host\/output-taken: /u);
    const list = spawnSync('ls', ['-A', join(world.folder, 'place')], { encoding: 'utf8' }).stdout;
    expect(list).not.toMatch(/^\.out/mu);
  });

  it('keeps what was there when filling fails, and leaves nothing beside it', async () => {
    earlier('made by us');
    const work = makeOutputFolder(out, ours, async (aside) => {
      await fill(aside);
      throw new Error('no');
    });
    await expect(work).rejects.toThrow('no');
    expect(kernel()).toBe('old');
    expect(readdirSync(join(world.folder, 'place'))).toEqual(['out']);
  });

  it('says before the work that it cannot write there', async () => {
    mkdirSync(join(world.folder, 'place'));
    writeFileSync(join(world.folder, 'place', 'file'), '');
    out = join(world.folder, 'place', 'file', 'out');
    expect(await refusal(make())).toMatch(/^host\/output-(?:taken|not-writable): /u);
  });
});

it('writeFiles takes a folder by a relative name, and leaves the current one as it is', async () => {
  mkdirSync(out, { recursive: true, mode: 0o700 });
  const before = process.cwd();
  process.chdir(out);
  try {
    await writeFiles('b/c', new Map([['weir', Buffer.from('4.20')]]));
  } finally {
    process.chdir(before);
  }
  expect(readFileSync(join(out, 'b/c/weir'), 'utf8')).toBe('4.20');
  expect(statSync(out).mode & 0o777).toBe(0o700);
});

it('writeFiles says which file could not be written, and why', async () => {
  mkdirSync(join(out, 'weir'), { recursive: true });
  const work = writeFiles(out, new Map([['weir', Buffer.from('4.20')]]));
  expect(await refusal(work)).toBe(
    `host/output-not-writable: \`${join(out, 'weir')}\` cannot be written: it is a folder`,
  );
});

it('writeFiles lets everybody read what it makes, whatever the umask, and leaves folders that were there', async () => {
  const mode = (path: string): string => (statSync(join(out, path)).mode & 0o777).toString(8);
  mkdirSync(out, { recursive: true, mode: 0o700 });
  const before = process.umask(0o077);
  try {
    await writeFiles(out, new Map([['kit/patches/weir.patch', Buffer.from('diff')]]));
  } finally {
    process.umask(before);
  }
  expect(['.', 'kit', 'kit/patches', 'kit/patches/weir.patch'].map(mode)).toEqual([
    '700',
    '755',
    '755',
    '644',
  ]);
});

describe('writeWhole', () => {
  it.each([
    ['no-folder', 'there is no such folder'],
    ['file', 'a part of its path is a file'],
  ])('says that there is no folder to write in: %s', async (parent, why) => {
    writeFileSync(join(world.folder, 'file'), 'mine');
    expect(await refusal(writeWhole(join(world.folder, parent, 'spec.yaml'), 'ours'))).toMatch(
      new RegExp(`^host/output-not-writable: .* ${why}$`, 'u'),
    );
    expect(readFileSync(join(world.folder, 'file'), 'utf8')).toBe('mine');
  });
});
