import { Failure } from '../diagnostics/catalogue.ts';
import type { Host } from '../host/host.ts';
import { run } from '../host/processes.ts';
import { containerCodes } from './codes.ts';

export const engineNames = ['docker'] as const;
export type EngineName = (typeof engineNames)[number];

/** A container engine that answers. */
export interface Engine {
  readonly name: EngineName;
  /** Version of the server that runs the containers. */
  readonly version: string;
  /** Where it keeps images and volumes, on its own machine. */
  readonly dataFolder: string;
  /** Memory of the machine that runs the containers, in bytes. */
  readonly memory: number;
}

const howToGetOne =
  'Install a container engine (Debian, Ubuntu: apt install docker.io) and see that its service runs.';

/**
 * Finds out whether the container engine is there and may be used.
 *
 * @throws Failure `container/no-engine`, `container/engine-refuses`, `container/engine-silent`
 */
export async function findEngine(host: Host, name: EngineName = 'docker'): Promise<Engine> {
  const asked = '{{.ServerVersion}}\t{{.DockerRootDir}}\t{{.MemTotal}}';
  const result = await run(name, ['info', '--format', asked], {
    env: host.env,
    signal: host.signal,
    missingHelp: howToGetOne,
  }).catch((error: unknown) => {
    throw isMissing(error) ? noEngine(name, error) : error;
  });
  const [version = '', dataFolder = '', memory = ''] = result.stdout.trim().split('\t');
  if (result.code === 0 && version !== '') return { name, version, dataFolder, memory: Number(memory) };
  throw silent(name, result.stderr.trim());
}

function isMissing(error: unknown): boolean {
  return error instanceof Failure && error.diagnostics.some(({ code }) => code === 'host/program-missing');
}

function noEngine(name: EngineName, cause: unknown): Failure {
  return new Failure(
    containerCodes.report('container/no-engine', {
      message: `the container engine ${name} is not installed, or not in PATH`,
      notes: ['Kernels are built in a container, so that every machine builds the same one.'],
      help: howToGetOne,
    }),
    { cause },
  );
}

function silent(name: EngineName, words: string): Failure {
  const notes = words === '' ? [] : [`It says: ${words.split('\n').at(-1) ?? ''}`];
  if (/permission denied/iu.test(words)) {
    return new Failure(
      containerCodes.report('container/engine-refuses', {
        message: `this user may not use the container engine ${name}`,
        notes,
        help: 'Ask whoever runs this machine to add you to the group of the engine (often "docker"), or use its rootless mode.',
      }),
    );
  }
  return new Failure(
    containerCodes.report('container/engine-silent', {
      message: `the container engine ${name} does not answer`,
      notes,
      help: 'Start its service (often: systemctl start docker), or set DOCKER_HOST to where it listens.',
    }),
  );
}
