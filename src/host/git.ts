/**
 * The machine's git, as an adapter. Of what the machine says about git, how others are reached counts (proxies,
 * authorities, logins, `url.….insteadOf`); no hook, no filter, no template, no prompt and no repository but the one made
 * here has a part in it.
 */
import { mkdir, readdir, rm, stat, writeFile } from 'node:fs/promises';
import { join, resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { fetchCodes } from './fetch-codes.ts';
import { FetchError } from './fetch-error.ts';
import { defaultFetchLimits, type FetchLimits } from './fetch-url.ts';
import type { Host } from './host.ts';
import { isLocalHost } from './local-address.ts';
import { networkOf, type Network } from './network.ts';
import { formatBytes } from './quantities.ts';
import { run, type RunOptions, type RunResult } from './processes.ts';
import { proxyFor } from './proxy.ts';
import { authorizationFor, forbiddenAddress, guardedLookup } from './send-request.ts';

/** A bare repository of a few moments. */
export interface ScratchRepository {
  readonly folder: string;
  /** Runs git in it, to its end. @throws Failure `host/program-missing`; what else `run` throws */
  git(args: readonly string[], options?: GitOptions): Promise<RunResult>;
}

export type GitOptions = Pick<RunOptions, 'onChunk' | 'capture' | 'signal'> & {
  readonly settings?: Settings;
  /** Settings that must not be on the command line, which everybody on the machine can read. */
  readonly secrets?: Settings;
  /** Bytes of address space that each of its programs may take, where the machine can hold it to that. */
  readonly memory?: number;
};

/** Of git-config(1), name to value. */
type Settings = Readonly<Record<string, string>>;

const settingsOfAll: Settings = {
  'core.hooksPath': '/dev/null',
  'gc.auto': '0',
  'maintenance.auto': 'false',
};

/**
 * Makes an empty repository, and removes it after `work`.
 * @param attributes that have the last word in it: a line of gitattributes(5)
 * @throws Failure `host/program-missing`; what the store and `work` throw
 */
export async function withScratchRepository<Value>(
  host: Host,
  attributes: string,
  work: (repository: ScratchRepository) => Promise<Value>,
): Promise<Value> {
  const folder = resolve(await host.store.asidePath());
  const repository: ScratchRepository = {
    folder,
    git: (args, { settings = {}, secrets = {}, memory, signal = host.signal, ...options } = {}) => {
      const words = [...inline({ ...settingsOfAll, ...settings }), `--git-dir=${folder}`, ...args];
      const [program, ...before] = memory === undefined ? (['git'] as const) : heldTo(memory, 'git');
      return run(program, [...before, ...words], {
        ...options,
        signal,
        env: environmentOf(host.env, secrets),
        ownGroup: true,
        missingHelp: 'Install git, or take another kind of source.',
      });
    },
  };
  try {
    const made = await repository.git(['init', '--quiet', '--bare', '--template=', folder]);
    if (made.code !== 0) throw unwell(made.stderr);
    await mkdir(join(folder, 'info'), { recursive: true });
    await writeFile(join(folder, 'info', 'attributes'), `${attributes}\n`);
    return await work(repository);
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/** What runs a program with so much address space. Where a shell cannot set the limit (macOS), it runs without one. */
function heldTo(bytes: number, program: string): readonly [string, ...string[]] {
  return ['sh', '-c', `ulimit -v ${Math.ceil(bytes / 1024)} 2>/dev/null; exec "$@"`, 'sh', program];
}

function unwell(stderr: string): Failure {
  return new Failure(
    fetchCodes.report('host/bad-setting', {
      message: 'the git of this machine does not make a repository',
      notes: stderr.trim().split('\n').slice(-3),
      help: 'See what it says; `git config --list --show-origin` tells its settings, and the files that they are in.',
    }),
  );
}

export interface GitLimits extends FetchLimits {
  /** Bytes of address space for each program of git: a list of references has no end of its own. */
  readonly memory?: number;
}

/** Some ten times what all of Linux takes. */
const usualMemory = 4 * 1024 ** 3;

export interface GitFetchOptions {
  readonly limits?: GitLimits;
  /** Bytes that may come. */
  readonly most: number;
  /** Told from time to time how many have come. */
  readonly onBytes: (count: number) => void;
}

/**
 * Fetches what a name leads to, without what was before it.
 *
 * @param url after the machine's mirrors were applied
 * @param name a full commit, or a full name of a reference, which it then has here as well
 * @throws FetchError, in which `GitRefusal` tells what git itself says; Failure `host/bad-setting`
 */
export async function gitFetch(
  host: Host,
  repository: ScratchRepository,
  url: string,
  name: string,
  { limits = defaultFetchLimits, most, onBytes }: GitFetchOptions,
): Promise<void> {
  const controller = new AbortController();
  const watching = setInterval(() => {
    received(repository.folder)
      .then((bytes) => {
        onBytes(bytes);
        if (bytes > most) controller.abort(new FetchError(`it has sent more than ${most} bytes`));
      })
      .catch(() => undefined);
  }, 500);
  try {
    const wanted = name.startsWith('refs/') ? `+${name}:${name}` : name;
    const options = await reachOptions(host, repository, new URL(url), limits);
    const { code, stderr } = await repository.git(
      ['fetch', '--quiet', '--depth=1', '--no-tags', '--no-recurse-submodules', '--', url, wanted],
      { ...options, signal: AbortSignal.any([host.signal, controller.signal]) },
    );
    if (code !== 0) throw refusal(stderr, options);
  } finally {
    clearInterval(watching);
  }
}

/**
 * The commit that a reference of a repository leads to.
 *
 * @param url after the machine's mirrors were applied
 * @param name the full name of a reference
 * @throws as `gitFetch`
 */
export async function gitLookUp(
  host: Host,
  repository: ScratchRepository,
  url: string,
  name: string,
  limits: GitLimits = defaultFetchLimits,
): Promise<string> {
  const options = await reachOptions(host, repository, new URL(url), limits);
  const late = new AbortController();
  const error = new FetchError(`no list of tags for ${limits.stall / 1000} s`, { transient: true });
  const timer = setTimeout(() => late.abort(error), limits.stall);
  const { code, stdout, stderr } = await repository
    .git(['ls-remote', '--quiet', '--', url, name, `${name}^{}`], {
      ...options,
      signal: AbortSignal.any([host.signal, late.signal]),
    })
    .finally(() => clearTimeout(timer));
  if (code !== 0) throw refusal(stderr, options);
  const lines = new Map(
    [...stdout.matchAll(/^([0-9a-f]{40})\t(.*)$/gmu)].map(([, id = '', ref = '']) => [ref, id]),
  );
  // behind a tag that is an object of its own, what it leads to
  const commit = lines.get(`${name}^{}`) ?? lines.get(name);
  if (commit === undefined) throw new GitRefusal('git finds none', { unknownName: true });
  return commit;
}

async function reachOptions(
  host: Host,
  { folder }: ScratchRepository,
  url: URL,
  limits: GitLimits,
): Promise<GitOptions> {
  const network = networkOf(host);
  const settings = await settingsFor(network, folder, url, limits);
  const options = { settings, memory: limits.memory ?? usualMemory };
  const authorization = authorizationFor(network, url);
  if (authorization === undefined) return options;
  const secrets = { [`http.${url.origin}/.extraHeader`]: `Authorization: ${authorization}` };
  return { ...options, secrets };
}

/** Bytes of the packs that are there or on their way. */
async function received(folder: string): Promise<number> {
  const packs = join(folder, 'objects', 'pack');
  const sizes = (await readdir(packs)).map(async (name) => (await stat(join(packs, name))).size);
  return (await Promise.all(sizes)).reduce((sum, size) => sum + size, 0);
}

function lookUp(name: string): Promise<string> {
  return new Promise((resolve, reject) => {
    guardedLookup(name, {}, (error, address) => {
      if (!error && typeof address === 'string') resolve(address);
      else
        reject(
          error instanceof FetchError
            ? error
            : new FetchError('there is no host of that name', { cause: error }),
        );
    });
  });
}

async function settingsFor(
  network: Network,
  folder: string,
  url: URL,
  limits: FetchLimits,
): Promise<Settings> {
  return {
    'protocol.allow': 'never',
    'protocol.https.allow': 'always',
    // the machine's own configuration may lead there
    'protocol.ssh.allow': 'always',
    ...(url.protocol === 'http:' && { 'protocol.http.allow': 'always' }),
    'fetch.fsckObjects': 'true',
    // where it leads nobody would look at
    'http.followRedirects': 'false',
    'http.lowSpeedLimit': String(limits.pace),
    'http.lowSpeedTime': String(Math.max(1, Math.round(limits.stall / 1000))),
    ...(network.authorities && { 'http.sslCAInfo': await authoritiesFile(network.authorities, folder) }),
    ...(await resolved(network, url)),
  };
}

async function authoritiesFile(authorities: readonly string[], folder: string): Promise<string> {
  const file = join(folder, 'authorities.pem');
  await writeFile(file, authorities.join('\n'));
  return file;
}

/** A name may lead anywhere: what is looked at is what git connects to (from git 2.37 on; others look it up again). */
async function resolved(network: Network, url: URL): Promise<Settings> {
  if (network.allowedHosts.has(url.hostname)) return {};
  if (isLocalHost(url.hostname)) throw forbiddenAddress(url.hostname);
  if (proxyFor(network.env, url)) return {};
  const address = await lookUp(url.hostname);
  const port = url.port === '' ? '443' : url.port;
  return { 'http.curloptResolve': `${url.hostname}:${port}:${address}` };
}

/** What git says when it does not bring what it was asked for. */
export class GitRefusal extends FetchError {
  /** The repository is there, and has no such commit or tag. */
  readonly unknownName: boolean;
  /** What came is not what git takes for sound. */
  readonly unsound: boolean;

  constructor(
    message: string,
    options: ConstructorParameters<typeof FetchError>[1] & {
      readonly unknownName?: boolean;
      readonly unsound?: boolean;
    },
  ) {
    super(message, options);
    this.unknownName = options.unknownName ?? false;
    this.unsound = options.unsound ?? false;
  }
}

/** In the words of git's C locale (from its sources: fetch-pack.c, remote-curl.c, http.c, index-pack.c). */
function refusal(stderr: string, { secrets, memory }: GitOptions): GitRefusal {
  const lines = stderr.split('\n').filter((line) => line.trim() !== '');
  const said =
    lines.findLast((line) => line.startsWith('fatal:')) ?? lines.at(-1) ?? 'it ended without a word';
  const message = `git says: ${said.replace(/^(?:fatal|error):\s*/u, '').slice(0, 300)}`;
  const has = (pattern: RegExp): boolean => pattern.test(stderr);
  const status = Number(/returned error: (\d{3})/u.exec(stderr)?.[1] ?? Number.NaN);
  if (memory !== undefined && has(/out of memory|mmap failed/iu))
    return new GitRefusal(
      `git may take ${formatBytes(memory)} of memory, and that was not enough: the place lists or sends what no kernel has; ${message}`,
      {},
    );
  if (has(/couldn't find remote ref|not our ref|no such remote ref|unadvertised object/iu))
    return new GitRefusal(message, { unknownName: true });
  if (has(/fsck error|inflate|bad object|did not send all necessary|corrupt|hash mismatch|SHA1 COLLISION/iu))
    return new GitRefusal(message, { unsound: true });
  if (has(/repository '.*' not found/u)) return new GitRefusal(message, { status: 404 });
  if (
    has(/Authentication failed|could not read (?:Username|Password)/u) ||
    status === 401 ||
    status === 403
  ) {
    const why = secrets
      ? 'it does not take the login in the file that NETRC names (which a git before 2.31 does not hand over)'
      : 'it wants to know who asks (a login stands in the file that NETRC names)';
    return new GitRefusal(`${why}; ${message}`, { status: 401 });
  }
  if (status >= 300 && status < 400)
    return new GitRefusal(`it sends git elsewhere (${status}): name the place that it leads to`, { status });
  const transient =
    status >= 500 ||
    status === 429 ||
    has(
      /timed out|too slow|early EOF|unexpected disconnect|hung up|reset by peer|Failed to connect|broken/iu,
    );
  return new GitRefusal(message, { transient, ...(Number.isNaN(status) ? {} : { status }) });
}

function inline(settings: Settings): readonly string[] {
  return Object.entries(settings).flatMap(([name, value]) => ['-c', `${name}=${value}`]);
}

/** What of the environment is about reaching others; the rest would lead git to another repository, or to a prompt. */
const kept = /^GIT_(?:SSH|SSL|PROXY|CONFIG_(?:GLOBAL|SYSTEM|NOSYSTEM|COUNT|KEY|VALUE))/u;

/** @param secrets settings for git 2.31 and later; others know nothing of them */
function environmentOf(env: Host['env'], secrets: Settings): Readonly<Record<string, string | undefined>> {
  const own = Object.entries(env).filter(([name]) => !name.startsWith('GIT_') || kept.test(name));
  const first = Number(env['GIT_CONFIG_COUNT'] ?? 0) || 0;
  const more = Object.entries(secrets).flatMap(([name, value], nth) => [
    [`GIT_CONFIG_KEY_${first + nth}`, name],
    [`GIT_CONFIG_VALUE_${first + nth}`, value],
  ]);
  return {
    ...Object.fromEntries(own),
    ...Object.fromEntries(more),
    GIT_CONFIG_COUNT: String(first + more.length / 2),
    GIT_TERMINAL_PROMPT: '0',
    // empty, it stops the other programs that would ask (git-credential(7))
    GIT_ASKPASS: '',
    GIT_NO_LAZY_FETCH: '1',
    LC_ALL: 'C',
  };
}
