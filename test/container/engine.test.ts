import { join } from 'node:path';

import { afterEach, beforeEach, describe, expect, it } from 'vitest';

import { findEngine } from '../../src/container/engine.ts';
import { Failure } from '../../src/diagnostics/catalogue.ts';
import type { Host } from '../../src/host/host.ts';
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

/** A host whose PATH holds the programs of this test and nothing else. */
const bare = (env: Readonly<Record<string, string>> = {}): Host => ({
  ...world.host,
  env: { PATH: join(world.folder, 'bin'), ...env },
});
const docker = "printf '26.1.5\\t/var/lib/docker\\t25277476864\\n'";

describe('findEngine', () => {
  it('tells what the engine says of itself', async () => {
    world.program('docker', docker);
    expect(await findEngine(world.host, 'docker')).toEqual({
      name: 'docker',
      version: '26.1.5',
      dataFolder: '/var/lib/docker',
      memory: 25277476864,
    });
  });

  // the names of the fields: podman-info(1), buildah-info(1), and what podman 4.3 and buildah 1.28 answer
  it.each([
    [
      'podman',
      `[ "$*" = 'info --format {{.Version.Version}}\t{{.Store.GraphRoot}}\t{{.Host.MemTotal}}' ] && printf '4.3.1\\t/srv/c\\t7\\n'`,
      '4.3.1',
    ],
    [
      'buildah',
      `case "$*" in
        --version) echo 'buildah version 1.28.2 (image-spec 1.1.0-rc2, runtime-spec 1.0.2-dev)' ;;
        'info --format -\t{{.store.GraphRoot}}\t{{.host.MemTotal}}') printf -- '-\\t/srv/c\\t7\\n' ;;
      esac`,
      '1.28.2',
    ],
  ] as const)('asks %s in its own words', async (name, script, version) => {
    world.program(name, script);
    expect(await findEngine(world.host, name)).toEqual({ name, version, dataFolder: '/srv/c', memory: 7 });
  });

  it('takes the first that answers when none is named', async () => {
    world.program('buildah', "printf -- '-\\t/srv/c\\t7\\n'");
    expect(await findEngine(bare())).toMatchObject({ name: 'buildah' });
    world.program('podman', 'exit 125');
    expect(await findEngine(bare())).toMatchObject({ name: 'buildah' });
    world.program('podman', "printf '4.3.1\\t/srv/c\\t7\\n'");
    expect(await findEngine(bare())).toMatchObject({ name: 'podman' });
    world.program('docker', docker);
    expect(await findEngine(bare())).toMatchObject({ name: 'docker' });
  });

  it.each([
    ['docker', 'DOCKER_HOST', 'tcp://gauge.example:2376'],
    ['podman', 'CONTAINER_HOST', 'ssh://gauge.example/run/podman.sock'],
  ] as const)('knows of no folder of a %s on another machine', async (name, variable, value) => {
    world.program(name, docker);
    expect(await findEngine(bare({ [variable]: value }), name)).not.toHaveProperty('dataFolder');
    expect(await findEngine(bare({ [variable]: 'unix:///run/engine.sock' }), name)).toHaveProperty(
      'dataFolder',
    );
  });

  it('says how to get an engine where there is none', async () => {
    expect((await failure(findEngine(bare()))).diagnostics).toMatchObject([
      {
        code: 'container/no-engine',
        exit: 3,
        message: expect.stringContaining('docker, podman, buildah'),
        help: expect.stringContaining('apt'),
      },
    ]);
    expect((await failure(findEngine(bare(), 'podman'))).diagnostics).toMatchObject([
      { code: 'container/no-engine', message: expect.stringContaining('podman is not installed') },
    ]);
  });

  it('speaks of the one that is there when none can be used', async () => {
    world.program('podman', "echo 'cannot clone: Operation not permitted' >&2; exit 125");
    expect((await failure(findEngine(bare()))).diagnostics).toMatchObject([
      {
        code: 'container/engine-silent',
        message: expect.stringContaining('podman'),
        notes: [
          expect.stringContaining('Operation not permitted'),
          expect.stringContaining('docker is not installed'),
          expect.stringContaining('buildah is not installed'),
        ],
      },
    ]);
  });

  // what the client of Docker prints in these two cases: seen with 20.10 and 28.2
  it('tells an engine without rights from one that is down', async () => {
    world.program(
      'docker',
      `echo 'permission denied while trying to connect to the Docker daemon socket at unix:///var/run/docker.sock' >&2; exit 1`,
    );
    expect((await failure(findEngine(world.host, 'docker'))).diagnostics).toMatchObject([
      { code: 'container/engine-refuses', exit: 3, help: expect.stringContaining('group') },
    ]);
    world.program(
      'docker',
      `echo 'Cannot connect to the Docker daemon at unix:///x. Is the docker daemon running?' >&2; exit 1`,
    );
    expect((await failure(findEngine(world.host, 'docker'))).diagnostics).toMatchObject([
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
    expect((await failure(findEngine(world.host, 'docker'))).diagnostics).toMatchObject([
      { code: 'container/engine-silent' },
    ]);
  });
});
