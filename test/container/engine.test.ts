import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { findEngine } from '../../src/container/engine.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import { makeWorld, type World } from './world.ts';

let world: World;
beforeEach(() => {
  world = makeWorld();
});
afterEach(() => world.remove());

const failure = async (work: Promise<unknown>): Promise<Failure> => {
  const error: unknown = await work.catch((caught: unknown) => caught);
  if (error instanceof Failure) return error;
  throw new Error(`no Failure: ${String(error)}`);
};

describe('findEngine', () => {
  it('tells what the engine says of itself', async () => {
    world.program('docker', "printf '26.1.5\\t/var/lib/docker\\t25277476864\\n'");
    expect(await findEngine(world.host)).toEqual({
      name: 'docker',
      version: '26.1.5',
      dataFolder: '/var/lib/docker',
      memory: 25277476864,
    });
  });

  it('says how to get an engine where there is none', async () => {
    const { diagnostics } = await failure(
      findEngine({ ...world.host, env: { PATH: `${world.folder}/none` } }),
    );
    expect(diagnostics).toMatchObject([
      { code: 'container/no-engine', exit: 3, help: expect.stringContaining('apt') },
    ]);
  });

  // what the client of Docker prints in these two cases: seen with 20.10 and 28.2
  it('tells an engine without rights from one that is down', async () => {
    world.program(
      'docker',
      `echo 'permission denied while trying to connect to the Docker daemon socket at unix:///var/run/docker.sock' >&2; exit 1`,
    );
    expect((await failure(findEngine(world.host))).diagnostics).toMatchObject([
      { code: 'container/engine-refuses', exit: 3, help: expect.stringContaining('group') },
    ]);
    world.program(
      'docker',
      `echo 'Cannot connect to the Docker daemon at unix:///x. Is the docker daemon running?' >&2; exit 1`,
    );
    expect((await failure(findEngine(world.host))).diagnostics).toMatchObject([
      {
        code: 'container/engine-silent',
        exit: 3,
        notes: [expect.stringContaining('Is the docker daemon running')],
      },
    ]);
  });

  it('does not take a client that reached no server for an engine', async () => {
    // newer clients answer with an empty line and exit code 0
    world.program('docker', `echo; echo 'ERROR: Cannot connect' >&2; exit 0`);
    expect((await failure(findEngine(world.host))).diagnostics).toMatchObject([
      { code: 'container/engine-silent' },
    ]);
  });
});
