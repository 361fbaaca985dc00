import { request } from 'node:http';

import * as z from 'zod';

/** What the bench asks of the Docker Engine API (docs.docker.com/reference/api/engine), over the engine's socket. */
export interface EngineApi {
  /** The one container that runs at the moment and has a build folder. */
  findBuild(): Promise<BuildContainer>;
  /** CPU that a running container has used so far, by the engine's accounting (cgroups). */
  cpuOf(container: string): Promise<ContainerCpu>;
  /** Makes, without starting it, a container like another one: image, user, sandbox. */
  createLike(model: BuildContainer, name: string, change: ContainerChange): Promise<void>;
}

export interface BuildContainer {
  readonly id: string;
  /** The volume over which it builds. */
  readonly volume: string;
  readonly config: Readonly<Record<string, unknown>>;
  readonly hostConfig: Readonly<Record<string, unknown>>;
}

/** Seconds. */
export interface ContainerCpu {
  /** User and system together: exact, where the other two may be counted by the clock's ticks (cgroup v1). */
  readonly total: number;
  readonly user: number;
  readonly system: number;
}

export interface ContainerChange {
  readonly command: readonly string[];
  readonly folder: string;
  /** `VOLUME:PATH[:ro]` */
  readonly volumes: readonly string[];
}

const mounts = z.array(z.object({ Name: z.string().optional(), Destination: z.string() }));
const containerList = z.array(z.object({ Id: z.string(), Mounts: mounts }));
const record = z.record(z.string(), z.unknown());
const inspection = z.object({
  Id: z.string(),
  Config: record,
  HostConfig: record,
  Mounts: mounts,
});
const statistics = z.object({
  cpu_stats: z.object({
    cpu_usage: z.object({
      total_usage: z.number(),
      usage_in_usermode: z.number(),
      usage_in_kernelmode: z.number(),
    }),
  }),
});

/** @param address as in DOCKER_HOST; the bench measures on this machine, so it must be a socket */
export function engineApi(address: string = 'unix:///var/run/docker.sock'): EngineApi {
  const [, socketPath] = /^unix:\/\/(\/.*)$/u.exec(address) ?? [];
  if (socketPath === undefined) throw new Error(`the bench needs an engine on this machine, not ${address}`);
  const ask = (method: string, path: string, body?: object): Promise<unknown> =>
    exchange(socketPath, method, path, body);
  return {
    findBuild: async () => {
      const running = containerList.parse(await ask('GET', '/containers/json'));
      const builds = running.filter(({ Mounts }) => Mounts.some(isBuildFolder));
      const [build] = builds;
      if (!build || builds.length > 1)
        throw new Error(`${builds.length} builds run on this engine, and not one`);
      const { Id, Config, HostConfig, Mounts } = inspection.parse(
        await ask('GET', `/containers/${build.Id}/json`),
      );
      const volume = Mounts.find(isBuildFolder)?.Name;
      if (volume === undefined) throw new Error('the container that builds has no build folder');
      return { id: Id, volume, config: Config, hostConfig: HostConfig };
    },
    cpuOf: async (container) => {
      const path = `/containers/${container}/stats?stream=false&one-shot=true`;
      const { cpu_usage: cpu } = statistics.parse(await ask('GET', path)).cpu_stats;
      return {
        total: cpu.total_usage / 1e9,
        user: cpu.usage_in_usermode / 1e9,
        system: cpu.usage_in_kernelmode / 1e9,
      };
    },
    createLike: async ({ config, hostConfig }, name, { command, folder, volumes }) => {
      await ask('POST', `/containers/create?name=${name}`, {
        ...config,
        Cmd: command,
        WorkingDir: folder,
        HostConfig: { ...hostConfig, Binds: volumes, Mounts: [] },
      });
    },
  };
}

function isBuildFolder({ Destination }: z.infer<typeof mounts>[number]): boolean {
  return Destination === '/build';
}

async function exchange(socketPath: string, method: string, path: string, body?: object): Promise<unknown> {
  const sent = body === undefined ? '' : JSON.stringify(body);
  const { status, text } = await new Promise<{ status: number; text: string }>((resolve, reject) => {
    const asked = request({
      socketPath,
      method,
      path,
      headers: { 'Content-Type': 'application/json', 'Content-Length': Buffer.byteLength(sent) },
    });
    asked.on('error', reject);
    asked.on('response', (response) => {
      let got = '';
      response.setEncoding('utf8');
      response.on('data', (part: string) => (got += part));
      response.on('error', reject);
      response.on('end', () => resolve({ status: response.statusCode ?? 0, text: got }));
    });
    asked.end(sent);
  });
  if (status < 200 || status > 299)
    throw new Error(`the engine answers ${status} to ${method} ${path}: ${text}`);
  return JSON.parse(text);
}
