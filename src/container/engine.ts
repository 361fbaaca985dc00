import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import type { Host } from '../host/host.ts';
import { run } from '../host/processes.ts';
import { containerCodes } from './codes.ts';
import { engineNames, type EngineName } from './engine-names.ts';

/** A container engine that answers. */
export interface Engine {
  readonly name: EngineName;
  /** Version of whatever runs the containers. */
  readonly version: string;
  /** Where it keeps images and build folders; absent when it runs on another machine. */
  readonly dataFolder?: string;
  /** Memory of the machine that runs the containers, in bytes. */
  readonly memory: number;
}

/** How each engine is asked for its version, its data folder and the machine's memory, set apart by tabs. */
const questions: Readonly<Record<EngineName, string>> = {
  docker: '{{.ServerVersion}}\t{{.DockerRootDir}}\t{{.MemTotal}}',
  podman: '{{.Version.Version}}\t{{.Store.GraphRoot}}\t{{.Host.MemTotal}}',
  // it tells its version elsewhere
  buildah: '-\t{{.store.GraphRoot}}\t{{.host.MemTotal}}',
};

/** Variables that lead to an engine on another machine. */
const elsewhere: Readonly<Record<EngineName, string | undefined>> = {
  docker: 'DOCKER_HOST',
  podman: 'CONTAINER_HOST',
  buildah: undefined,
};

const howToGetOne =
  'Install a container engine (Debian, Ubuntu: apt install docker.io, or podman, or buildah) and see that it runs.';

/**
 * Finds out whether a container engine is there and may be used.
 *
 * @param name the one to use; when absent, the first that answers
 * @throws Failure `container/no-engine`, `container/engine-refuses`, `container/engine-silent`
 */
export async function findEngine(host: Host, name?: EngineName): Promise<Engine> {
  const refusals: Failure[] = [];
  for (const candidate of name === undefined ? engineNames : [name]) {
    const found = await askEngine(host, candidate);
    if (!(found instanceof Failure)) return found;
    refusals.push(found);
  }
  throw severalRefuse(refusals);
}

async function askEngine(host: Host, name: EngineName): Promise<Engine | Failure> {
  const ask = (words: readonly string[]): ReturnType<typeof run> =>
    run(name, words, { env: host.env, signal: host.signal, missingHelp: howToGetOne });
  try {
    const result = await ask(['info', '--format', questions[name]]);
    const [said = '', dataFolder = '', memory = ''] = result.stdout.trim().split('\t');
    if (result.code !== 0 || said === '') return silent(name, result.stderr.trim());
    const version =
      name === 'buildah' ? (/ version (\S+)/u.exec((await ask(['--version'])).stdout)?.[1] ?? '') : said;
    return { name, version, ...(isHere(host, name) && { dataFolder }), memory: Number(memory) };
  } catch (error) {
    if (!isMissing(error)) throw error;
    return noEngine(name, error);
  }
}

/** The data folder that an engine elsewhere names is not the one of that name here. */
function isHere(host: Host, name: EngineName): boolean {
  const variable = elsewhere[name];
  return variable === undefined || /^(?:unix:|$)/u.test(host.env[variable] ?? '');
}

function isMissing(error: unknown): error is Failure {
  return error instanceof Failure && error.diagnostics.some(({ code }) => code === 'host/program-missing');
}

/** What is to be said when none can be used: of one that is there rather than of those that are not. */
function severalRefuse(refusals: readonly Failure[]): Failure {
  const there = refusals.filter(({ diagnostics }) => diagnostics[0]?.code !== 'container/no-engine');
  const [first] = there.length > 0 ? there : refusals;
  if (first === undefined) throw new Error('no engine was asked');
  if (refusals.length === 1) return first;
  if (there.length === 0) {
    return new Failure(
      containerCodes.report('container/no-engine', {
        message: `no container engine is installed, or none is in PATH: ${engineNames.join(', ')}`,
        notes: [whyOne],
        help: howToGetOne,
      }),
      { cause: first },
    );
  }
  const others: readonly Diagnostic[] = refusals
    .filter((one) => one !== first)
    .flatMap((one) => one.diagnostics);
  return new Failure(
    first.diagnostics.map((one) => ({ ...one, notes: [...one.notes, ...others.map(noteOf)] })),
    { cause: first },
  );
}

function noteOf({ message, notes }: Diagnostic): string {
  return [`Also tried: ${message}`, ...notes.filter((note) => note !== whyOne)].join('. ');
}

const whyOne = 'Kernels are built in a container, so that every machine builds the same one.';

function noEngine(name: EngineName, cause: unknown): Failure {
  return new Failure(
    containerCodes.report('container/no-engine', {
      message: `the container engine ${name} is not installed, or not in PATH`,
      notes: [whyOne],
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
      help:
        name === 'docker'
          ? 'Start its service (often: systemctl start docker), or set DOCKER_HOST to where it listens.'
          : `See what "${name} info" says, and mend that.`,
    }),
  );
}
