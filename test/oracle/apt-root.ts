/**
 * apt with a root of its own: sources, lists, cache and an empty dpkg status in a folder outside the repository, so
 * that it can be asked what it would install into an empty system, and can fetch packages, whatever this machine has.
 * apt verifies the indexes by the keyring of Debian's package debian-archive-keyring.
 */
import { execFile } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, readdir, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { promisify } from 'node:util';
import type { TestContext } from 'vitest';
import { digestFile } from '../../src/host/digest-file.ts';
import type { DebianRelease } from '../../src/spec/spec.ts';
import { testCache } from '../setup/engine.ts';

const run = promisify(execFile);
const keyring = '/usr/share/keyrings/debian-archive-keyring.gpg';
/** Lists older than this are fetched again. */
const freshMinutes = 6 * 60;

/** Something outside the repository that a test needs is not there. */
export class MissingInput extends Error {}

/**
 * Awaits something that a test needs from outside. When it is missing, the test is skipped with the reason; under CI
 * it fails.
 */
export async function orSkip<T>(context: TestContext, input: Promise<T>): Promise<T> {
  try {
    return await input;
  } catch (error) {
    if (!(error instanceof MissingInput) || process.env['CI']) throw error;
    return context.skip(error.message);
  }
}

/** Where packages come from: a release with its updates, or with its backports as well. */
export type AptSuite = DebianRelease | `${DebianRelease}-backports`;

export interface AptRoot {
  readonly release: AptSuite;
  readonly folder: string;
  /** The `Packages` files that apt fetched and verified: main, updates, security, and backports where asked for. */
  readonly packagesFiles: readonly string[];
  /** The signed indexes that these came by, in the same order. */
  readonly inReleaseFiles: readonly string[];
}

const aptConfiguration = (folder: string, architecture: string): string => `
Dir "${folder}";
Dir::State "${folder}/state";
Dir::State::status "${folder}/state/status";
Dir::Cache "${folder}/cache";
Dir::Etc "${folder}/etc";
Dir::Etc::Parts "${folder}/etc/apt.conf.d";
Dir::Etc::Trusted "/dev/null";
Dir::Etc::TrustedParts "/dev/null";
Dir::Log "${folder}/log";
APT::Architecture "${architecture}";
APT::Architectures { "${architecture}"; };
APT::Install-Recommends "false";
APT::Sandbox::User "root";
Acquire::Languages "none";
Acquire::Check-Valid-Until "false";
Acquire::GzipIndexes "false";
Acquire::Retries "2";
`;

/**
 * Of another architecture than amd64, and of sources, the release alone is asked for: on mirrors, updates of these are
 * seldom whole.
 */
function sources(suite: AptSuite, architecture: string): string {
  const release = suite.replace('-backports', '');
  const main = `deb [signed-by=${keyring}] http://deb.debian.org/debian ${release} main`;
  if (architecture === 'source') return `${main.replace(/^deb /, 'deb-src ')}\n`;
  if (architecture !== 'amd64') return `${main}\n`;
  const lines = [
    main,
    `deb [signed-by=${keyring}] http://deb.debian.org/debian ${release}-updates main`,
    `deb [signed-by=${keyring}] http://deb.debian.org/debian-security ${release}-security main`,
  ];
  if (suite !== release) lines.push(`deb [signed-by=${keyring}] http://deb.debian.org/debian ${suite} main`);
  return `${lines.join('\n')}\n`;
}

function environmentOf(folder: string): NodeJS.ProcessEnv {
  return { PATH: process.env['PATH'], LC_ALL: 'C', APT_CONFIG: path.join(folder, 'apt.conf') };
}

async function askApt(folder: string, args: readonly string[], cwd = folder): Promise<string> {
  const { stdout } = await run('apt-get', args, { cwd, env: environmentOf(folder), maxBuffer: 64 << 20 });
  return stdout;
}

/** One process at a time: test files run side by side, and apt refuses to wait for its own lock. */
async function locked(folder: string, command: readonly string[], cwd = folder): Promise<void> {
  const lock = path.join(testCache(), 'apt', 'lock');
  await run('flock', [lock, ...command], { cwd, env: environmentOf(folder) });
}

async function listed(folder: string, suffix: string): Promise<readonly string[]> {
  const lists = path.join(folder, 'state', 'lists');
  const names = await readdir(lists).catch(() => []);
  return ordered(names.filter((name) => name.endsWith(suffix)).map((name) => path.join(lists, name)));
}

/** Asked under the lock: of two test files that find old lists, one fetches new ones. */
const updateWhenOld = `[ -n "$(find updated -mmin -${freshMinutes} 2>/dev/null)" ] ||
  { apt-get -qq --error-on=any update && touch updated; }`;

async function prepare(release: AptSuite, architecture: string): Promise<AptRoot> {
  if (!existsSync(keyring)) throw new MissingInput(`needs ${keyring} (Debian's debian-archive-keyring)`);
  const name = architecture === 'amd64' ? release : `${release}-${architecture}`;
  const folder = path.join(testCache(), 'apt', name);
  for (const one of [
    'etc/apt.conf.d',
    'etc/preferences.d',
    'state/lists/partial',
    'cache/archives/partial',
    'log',
  ])
    await mkdir(path.join(folder, one), { recursive: true });
  const machine = architecture === 'source' ? 'amd64' : architecture;
  await writeFile(path.join(folder, 'apt.conf'), aptConfiguration(folder, machine));
  await writeFile(path.join(folder, 'etc', 'sources.list'), sources(release, architecture));
  await writeFile(path.join(folder, 'state', 'status'), '');
  try {
    await locked(folder, ['sh', '-c', updateWhenOld]);
  } catch (error) {
    throw new MissingInput(`apt-get update for ${name} failed: ${String(error)}`);
  }
  const packagesFiles = await listed(folder, '_Packages');
  return { release, folder, packagesFiles, inReleaseFiles: await listed(folder, '_InRelease') };
}

/** In the order of sources.list: of equal versions apt takes the file from the first. */
function ordered(files: readonly string[]): readonly string[] {
  const suites = ['-updates', '-security', '-backports'];
  const rank = (file: string): number => suites.findIndex((suite) => path.basename(file).includes(suite));
  return [...files].sort((a, b) => rank(a) - rank(b));
}

const roots = new Map<string, Promise<AptRoot>>();

/**
 * The private root for a suite, with lists that are at most a few hours old.
 * @param architecture as Debian calls it
 */
export function aptRoot(release: AptSuite, architecture = 'amd64'): Promise<AptRoot> {
  const key = `${release} ${architecture}`;
  const known = roots.get(key) ?? prepare(release, architecture);
  roots.set(key, known);
  return known;
}

/**
 * What `apt-get install` would put into a system, an empty one unless it is told of another: sorted `name=version`.
 *
 * @param status path of a database of dpkg
 */
export async function simulateInstall(
  root: AptRoot,
  packages: readonly string[],
  status?: string,
): Promise<readonly string[]> {
  const system = status === undefined ? [] : ['-o', `Dir::State::status=${status}`];
  // By default apt replaces what comes of one source with a package that it installs, needed or not.
  const needed = ['-o', 'APT::Get::Upgrade-By-Source-Package=false'];
  const install = ['-s', '-qq', 'install', '--no-install-recommends', '--no-remove', ...packages];
  const output = await askApt(root.folder, [...system, ...needed, ...install]);
  return [...output.matchAll(/^Inst (\S+) (?:\[\S+\] )?\((\S+) /gm)]
    .map(([, name, version]) => `${(name ?? '').replace(/:amd64$/, '')}=${version}`)
    .sort();
}

export interface PackageChoice {
  readonly release: AptSuite;
  /** As Debian calls it; amd64 where nothing is said. */
  readonly architecture?: string;
}

/** The name of the package file that apt would fetch today, without fetching it, and its SHA-256. */
export async function packageFile(
  name: string,
  choice: PackageChoice,
): Promise<{ readonly file: string; readonly sha256: string }> {
  const root = await aptRoot(choice.release, choice.architecture);
  // Asked in a folder where the package is not, since apt is silent about one that is there.
  const uri = await askApt(root.folder, ['-qq', 'download', '--print-uris', name]);
  const [, file, sha256] = /^'[^']*' (\S+) \d+ SHA256:([0-9a-f]{64})/m.exec(uri) ?? [];
  if (file === undefined || sha256 === undefined)
    throw new Error(`apt does not say where ${name} is: ${uri}`);
  return { file, sha256 };
}

/**
 * The files of a source package, as the release has it, that apt fetched and verified; kept in the test cache. They have a
 * root of their own: its lists are large, and nobody else needs them.
 */
export async function fetchSourcePackage(name: string, release: DebianRelease): Promise<readonly string[]> {
  const root = await prepare(release, 'source');
  const folder = path.join(testCache(), 'sources');
  await mkdir(folder, { recursive: true });
  const uris = await askApt(root.folder, ['-qq', 'source', '--print-uris', `${name}/${release}`]);
  const files = [...uris.matchAll(/^'[^']*' (\S+) \d+ SHA256:([0-9a-f]{64})/gm)];
  if (files.length === 0) throw new Error(`apt does not say where the source of ${name} is: ${uris}`);
  const whole = await Promise.all(
    files.map(async ([, file = '', sha256]) => {
      const full = path.join(folder, file);
      return existsSync(full) && (await digestFile(full)) === sha256;
    }),
  );
  if (!whole.every(Boolean)) {
    await locked(
      root.folder,
      ['apt-get', '-qq', 'source', '--download-only', `${name}/${release}`],
      folder,
    ).catch((error: unknown) => {
      throw new MissingInput(`apt-get source ${name} failed: ${String(error)}`);
    });
  }
  return files.map(([, file = '']) => path.join(folder, file));
}

/** The path of a package file that apt fetched and verified; kept in the test cache. */
export async function fetchPackage(name: string, choice: PackageChoice): Promise<string> {
  const root = await aptRoot(choice.release, choice.architecture);
  const folder = path.join(testCache(), 'packages');
  await mkdir(folder, { recursive: true });
  const { file, sha256 } = await packageFile(name, choice);
  const full = path.join(folder, file);
  if (existsSync(full) && (await digestFile(full)) === sha256) return full;
  try {
    await locked(root.folder, ['apt-get', '-qq', 'download', name], folder);
  } catch (error) {
    throw new MissingInput(`apt-get download ${name} failed: ${String(error)}`);
  }
  return full;
}
