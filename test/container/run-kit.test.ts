import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import type { Engine } from '../../src/container/engine.ts';
import { KitFailure, removeBuildFolder, runKit, type KitRun } from '../../src/container/run-kit.ts';
import { makeWorld, type World } from './world.ts';

const engine: Engine = { name: 'docker', version: '26.1.5', dataFolder: '/nowhere', memory: 0 };

let world: World;
let kit: KitRun;
beforeEach(() => {
  world = makeWorld();
  const folder = join(world.folder, 'kit');
  mkdirSync(folder);
  kit = { engine, folder, inputs: join(world.folder, 'inputs'), out: join(world.folder, 'out') };
});
afterEach(() => world.remove());

/** A kit whose `run.sh` is this script. */
const behave = (script: string): void => writeFileSync(join(kit.folder, 'run.sh'), script);

const failure = async (work: Promise<unknown>): Promise<KitFailure> => {
  const error: unknown = await work.catch((caught: unknown) => caught);
  if (error instanceof KitFailure) return error;
  throw new Error(`no KitFailure: ${String(error)}`);
};

describe('runKit', () => {
  it('hands its choices over and tells how far the work is', async () => {
    behave(`printf '%s ' "$@" >${world.folder}/given
      echo '== unpacking the source'; echo '== compiling'
      echo '  CC      init/main.o'; echo '  AS      entry.o'; echo '  CC [M]  lib/crc7.o'; echo '  WRAP    x.h'; echo noise`);
    await runKit(world.host, 'build', { ...kit, jobs: 3, keep: true });
    expect(readFileSync(join(world.folder, 'given'), 'utf8')).toBe(
      `-e docker -i ${kit.inputs} -o ${kit.out} -j 3 -k build `,
    );
    expect(world.told).toEqual([
      'stage unpacking the source',
      'stage compiling',
      'advance 1/? files',
      'advance 2/? files',
      'advance 3/? files',
      'end',
    ]);
  });

  it('knows how much is to do where an earlier build has told', async () => {
    behave("echo '  CC      init/main.o'");
    expect(await runKit(world.host, 'build', { ...kit, expectedFiles: 7 })).toEqual({
      volume: undefined,
      files: 1,
    });
    expect(world.told).toContain('advance 1/7 files');
  });

  it('does not call it a compiler error when there is no log of a compiler', async () => {
    behave("echo 'run.sh: something died' >&2; exit 1");
    expect((await failure(runKit(world.host, 'build', kit))).diagnostics).toMatchObject([
      { code: 'container/failed', exit: 3 },
    ]);
  });

  it('tells the first error of a build that does not compile, and where to look', async () => {
    const log =
      "  CC      init/main.o\ninit/main.c:5:1: error: expected ';'\nmake: *** [Makefile:9: init] Error 2\n";
    behave(`mkdir -p ${kit.out}.failed; cp ${world.folder}/log.gz ${kit.out}.failed/make.log.gz
      echo 'build: the kernel does not compile' >&2; exit 1`);
    writeFileSync(join(world.folder, 'log.gz'), gzipSync(log));
    const { diagnostics } = await failure(runKit(world.host, 'build', kit));
    expect(diagnostics).toMatchObject([
      {
        code: 'container/does-not-compile',
        exit: 1,
        message: "the kernel does not compile: init/main.c:5:1: error: expected ';'",
        notes: ['This is the first error, line 2 of the log.'],
        help: expect.stringContaining('--keep-tree'),
      },
    ]);
  });

  it.each([
    [4, 'container/bad-input', 4, []],
    [3, 'container/failed', 3, ['WARNING: words of the engine']],
    [2, 'container/failed', 3, ['WARNING: words of the engine']],
  ])('passes on what a step that ends with %i says', async (code, expected, exit, engineSaid) => {
    behave(
      `echo 'WARNING: words of the engine' >&2; echo 'run.sh: what is wrong' >&2; echo 'run.sh: what to do' >&2; exit ${code}`,
    );
    const { diagnostics } = await failure(runKit(world.host, 'build', kit));
    expect(diagnostics).toMatchObject([
      { code: expected, exit, message: 'what is wrong', notes: ['what to do', ...engineSaid] },
    ]);
  });

  it('shows the last words of a step that dies without a reason', async () => {
    behave('echo "sh: something broke" >&2; exit 7');
    const { diagnostics } = await failure(runKit(world.host, 'build', kit));
    expect(diagnostics).toMatchObject([{ code: 'container/failed', notes: ['sh: something broke'] }]);
  });

  it('names the build folder that was kept', async () => {
    behave(
      `echo 'run.sh: the build folder is kept: sh /kit/run.sh -e docker shell quern-20260101000000-7' >&2; exit 1`,
    );
    expect((await failure(runKit(world.host, 'build', { ...kit, keep: true }))).volume).toBe(
      'quern-20260101000000-7',
    );
  });

  it('removes a build folder that was kept by the words of its engine, which the kit knows', async () => {
    behave(`printf '%s ' "$@" >${world.folder}/given`);
    await removeBuildFolder(world.host, { ...kit, engine: { ...engine, name: 'buildah' } }, 'quern-gauge-7');
    expect(readFileSync(join(world.folder, 'given'), 'utf8')).toBe('-e buildah remove quern-gauge-7 ');
  });

  it('lets an interrupted step clean up, and waits for that', async () => {
    behave(
      `trap 'sleep 0.3; echo cleaned >${world.folder}/cleaned; exit 130' TERM; echo '== compiling'; sleep 60 & wait`,
    );
    const reason = new Error('Ctrl-C');
    const work = runKit(world.host, 'build', kit);
    const wait = setInterval(() => {
      if (world.told.includes('stage compiling')) world.interrupt(reason);
    }, 20);
    await expect(work).rejects.toBe(reason);
    clearInterval(wait);
    expect(existsSync(join(world.folder, 'cleaned'))).toBe(true);
  });
});
