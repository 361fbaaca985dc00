/** A sample of the thousand archives of the slow suite, and those of which each is one kind. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { insideOnly, tarMembers, UnsafeArchive } from '../../src/host/tar-members.ts';
import { foldedCase } from '../../src/source/folded-case.ts';
import { encodeMember } from './hostile-archives.ts';
import { judgeArchives } from './judge-archives.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync('/tmp/quern-hostile-');
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

it('reads or refuses each of sixty, in words and in time', async () => {
  const read = await judgeArchives(folder, 60);
  expect(read).toBeGreaterThan(0);
  expect(read).toBeLessThan(60);
});

describe('a member', () => {
  const judge = (...headers: { name: string; type?: string; linkname?: string }[]): void => {
    const check = insideOnly(1);
    for (const header of headers) check(header);
  };
  const link = (name: string, linkname: string): { name: string; type: string; linkname: string } => ({
    name,
    type: 'symlink',
    linkname,
  });
  it.each([
    [{ name: '../x' }],
    [{ name: '/etc/x' }],
    [{ name: 'linux/../../x' }],
    [link('linux/x', '/etc')],
    [link('linux/x', '..')],
    [link('linux/a/x', '../..')],
    [link('linux/a/x', 'y/../../..')],
    [{ name: 'linux/x', type: 'link', linkname: '/etc/passwd' }],
    [{ name: 'linux/x', type: 'link', linkname: 'linux/../../x' }],
    [{ name: 'linux/x', type: 'fifo' }],
    [{ name: 'linux/x', type: 'block-device' }],
  ])('that would leave its folder is refused: %j', (header) => {
    expect(() => judge(header)).toThrow(UnsafeArchive);
  });

  it('below a link is refused, and a hard link to one', () => {
    expect(() => judge(link('linux/a/s', '..'), link('linux/a/s/t', '../x'))).toThrow(UnsafeArchive);
    expect(() => judge(link('linux/s', 'a'), { name: 'linux/h', type: 'link', linkname: 'linux/s' })).toThrow(
      UnsafeArchive,
    );
  });

  // as Linux 6.1 has them: Documentation/Changes, scripts/dtc/include-prefixes/arm, tools/testing/selftests
  it.each([
    link('linux/Documentation/Changes', 'process/changes.rst'),
    link('linux/scripts/dtc/include-prefixes/arm', '../../../arch/arm/boot/dts'),
    link('linux/tools/lib/x', '../../lib'),
    { name: './linux/x', type: 'link', linkname: 'linux/y' },
  ])('that stays in it is not: %j', (header) => {
    expect(() => judge(header)).not.toThrow();
  });
});

it.each([
  [{ bytes: 100_000, members: 10 }, 'it unpacks to more than 100000 bytes'],
  [{ bytes: 2 ** 30, members: 0 }, 'it has more than 0 members'],
])('an archive with more than %j is left where that shows', async (most, message) => {
  async function* endless(): AsyncGenerator<Uint8Array> {
    yield encodeMember({
      name: 'linux/x',
      type: '0',
      link: '',
      body: Buffer.alloc(0),
      size: '77777777777\0',
    });
    for (;;) yield Buffer.alloc(1 << 16);
  }
  const read = async (): Promise<void> => {
    for await (const _ of tarMembers(endless(), new AbortController().signal, most));
  };
  await expect(read()).rejects.toThrow(message);
});

it('a tree where names that differ in case are one is told of, and no other', async () => {
  writeFileSync(join(folder, 'Makefile'), '');
  expect(await foldedCase(folder)).toEqual([]);
  writeFileSync(join(folder, 'mAKEFILE'), '');
  expect(await foldedCase(folder)).toEqual([]);
  expect(await foldedCase(join(folder, 'nowhere'))).toEqual([]);
});
