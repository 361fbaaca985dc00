/**
 * An environment in a file. The engines are stand-ins that write down their arguments; that the real ones take these is
 * shown in test/e2e/environment.slow.test.ts. Referee for digests: GNU coreutils.
 */
import { execFileSync } from 'node:child_process';
import { existsSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { makeWorkbench, shells, smallShell, type Workbench } from './workbench.ts';

let bench: Workbench;
beforeEach(async () => {
  bench = await makeWorkbench();
  for (const name of ['docker', 'podman', 'buildah']) bench.program(name, standIn(bench.state));
});
afterEach(() => bench.remove());

/** Has an image when the file `image` is there, writes `saved` and takes what it loads for the right one, or not. */
const standIn = (state: string): string => `#!/bin/sh
{ printf '%s\\0' "$@"; printf '\\n'; } >>'${state}/calls'
case "$1 $2" in
  'version --format' | 'info --format') echo amd64 ;;
  'image inspect' | 'inspect --type') [ -e '${state}/image' ] ;;
  save*) for word; do case $file in next) file=$word ;; esac; [ "$word" != --output ] || file=next; done
    [ -e '${state}/full' ] && { printf half >"$file"; echo 'no space left on device' >&2; exit 1; }
    printf saved >"$file" ;;
  push*) file=\${4#docker-archive:}; printf saved >"\${file%%:*}" ;;
  load* | pull*) [ -e '${state}/other' ] || : >'${state}/image' ;;
esac
`;

const madeBefore = (): void => writeFileSync(join(bench.state, 'image'), '');
const digest = (path: string): string => execFileSync('sha256sum', [path]).toString().slice(0, 64);
const calls = (...commands: readonly string[]): readonly string[] =>
  bench
    .calls()
    .filter(([command = '']) => commands.includes(command))
    .map((words) => words.join(' ').replaceAll(/quern-environment:[0-9a-f]{24}/gu, 'IMAGE'));

describe('save', () => {
  it.each([
    ['docker', 'save --output FILE IMAGE'],
    ['podman', 'save --quiet --format docker-archive --output FILE IMAGE'],
    ['buildah', 'push --quiet IMAGE docker-archive:FILE:IMAGE'],
  ])('keeps what %s has in a file, and prints its digest', async (engine, call) => {
    madeBefore();
    const { status, stdout, stderr } = await bench.run(['-e', engine, 'save', 'otter.tar']);
    expect([status, stderr]).toEqual([0, '']);
    const file = bench.path('otter.tar');
    expect(readFileSync(file, 'utf8')).toBe('saved');
    expect(stdout.split('\n').at(-2)).toBe(`${digest(file)}  otter.tar`);
    const [asked = ''] = calls('save', 'push');
    expect(asked.replaceAll(/\/\S*\/otter\.tar\.part\.\d+/gu, 'FILE')).toBe(call);
  });

  it('leaves nothing when the engine does not write it, and says what that said', async () => {
    madeBefore();
    writeFileSync(join(bench.state, 'full'), '');
    const { status, stderr } = await bench.run(['save', 'otter.tar']);
    expect(status).toBe(3);
    expect(stderr).toContain('no space left on device');
    expect(execFileSync('ls', [bench.folder]).toString()).not.toContain('otter.tar');
  });

  it('does not overwrite what is there', async () => {
    madeBefore();
    bench.write('otter.tar', 'mine');
    const { status, stderr } = await bench.run(['save', 'otter.tar']);
    expect([status, stderr]).toEqual([2, expect.stringContaining('otter.tar is there already')]);
    expect(readFileSync(bench.path('otter.tar'), 'utf8')).toBe('mine');
  });
});

describe('load', () => {
  beforeEach(() => bench.write('otter.tar', 'saved'));
  const sha256 = (): string => digest(bench.path('otter.tar'));

  it.each([...shells, smallShell].map((shell) => [shell]))(
    'takes it by its digest, with %j',
    async (shell) => {
      const { status, stderr } = await bench.run(['load', 'otter.tar', sha256()], { shell });
      expect([status, stderr]).toEqual([0, '']);
      expect(calls('load')).toEqual([`load --quiet --input ${bench.folder}/otter.tar`]);
      // and not again
      expect((await bench.run(['load', 'otter.tar', sha256()], { shell })).status).toBe(0);
      expect(calls('load')).toHaveLength(1);
    },
  );

  it('refuses one with another digest before any engine sees it', async () => {
    const { status, stderr } = await bench.run(['load', 'otter.tar', 'a'.repeat(64)]);
    expect(status).toBe(4);
    expect(stderr).toContain(`otter.tar is not the file with the SHA-256 ${'a'.repeat(64)}`);
    expect(calls('load')).toEqual([]);
  });

  it('refuses one of another kit', async () => {
    writeFileSync(join(bench.state, 'other'), '');
    const { status, stderr } = await bench.run(['load', 'otter.tar', sha256()]);
    expect([status, stderr]).toEqual([
      4,
      expect.stringContaining('another environment than the one of this kit'),
    ]);
    expect(existsSync(join(bench.state, 'image'))).toBe(false);
  });

  it('says that there is no such file', async () => {
    rmSync(bench.path('otter.tar'));
    const { status, stderr } = await bench.run(['load', 'otter.tar', 'a'.repeat(64)]);
    expect([status, stderr]).toEqual([3, expect.stringContaining('there is no file otter.tar')]);
  });
});

it.each([
  [['save'], 'save takes the name of a file'],
  [['save', 'a', 'b'], 'nothing may stand behind the file'],
  [['load', 'a'], 'load takes the name of a file and its SHA-256'],
])('%j is no way to use it', async (words, says) => {
  const { status, stderr } = await bench.run(words);
  expect([status, stderr]).toEqual([2, expect.stringContaining(says)]);
});
