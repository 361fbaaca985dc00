/**
 * The referee of Kconfig: the program scripts/kconfig/conf of a kernel tree, built by the tree's own Makefile and not
 * changed, with the environment that make gives it. Its probes run once for a tree and an architecture, on this
 * machine's compiler, and are answered from that recording ever after, which makes a run take a fraction of a second.
 */
import { execFile } from 'node:child_process';
import { randomUUID } from 'node:crypto';
import { existsSync } from 'node:fs';
import { mkdir, mkdtemp, readFile, rename, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { promisify } from 'node:util';

import { ConfServers } from './conf-servers.ts';
import { runConf, type ConfBinary, type ConfJob, type ConfResult } from './conf-run.ts';
import { compiled, plainEnvironment, toolchainId } from './host-toolchain.ts';
import type { KernelTree } from './kernel-trees.ts';

const run = promisify(execFile);

/** Values of make's ARCH. */
export const kernelArchitectures = [
  'x86_64',
  'i386',
  'arm64',
  'arm',
  'riscv',
  'powerpc',
  's390',
  'mips',
] as const;
export type KernelArchitecture = (typeof kernelArchitectures)[number];

export interface KconfigProgram extends ConfBinary {
  readonly tree: KernelTree;
  readonly arch: KernelArchitecture;
  /** What make gives to conf: what `$(NAME)` expands to, and what a probe runs with. */
  readonly environment: Readonly<Record<string, string>>;
  /** The same, and where a run by hand with the library finds the answers to probes. */
  readonly replayed: Readonly<Record<string, string>>;
  /** Command line to what it printed, in latin1, for each `$(shell,…)`. */
  readonly probes: ReadonlyMap<string, string>;
  /** Runs conf by itself, from reading the Kconfig files on. */
  run(job: ConfJob): Promise<ConfResult>;
  /** The same result from a program that has read the Kconfig files before: several times faster from the second on. */
  runForked(job: ConfJob): Promise<ConfResult>;
  /** The `.config` that `make TARGET` writes, in latin1; kept for the next time. */
  make(target: string): Promise<string>;
  /** Ends what `runForked` has started. */
  close(): Promise<void>;
}

/**
 * The program of a tree by itself, for Kconfig files of the caller's own.
 * @throws MissingInput where there is no compiler
 */
export async function confBinary(tree: KernelTree): Promise<ConfBinary> {
  const preload = await compiled('kconfig-replay.c', ['-shared', '-fPIC', '-ldl']);
  const conf = path.join(await buildFolder(tree), 'scripts', 'kconfig', 'conf');
  // Whatever it is told to do, make builds conf before.
  if (!existsSync(conf))
    await make({ tree, arch: 'x86_64', preload }, 'olddefconfig', { REFEREE_ENVIRONMENT: '/dev/null' });
  return { conf, preload };
}

/** @throws MissingInput where there is no compiler */
export async function kconfigProgram(tree: KernelTree, arch: KernelArchitecture): Promise<KconfigProgram> {
  const binary = await confBinary(tree);
  const making = { tree, arch, preload: binary.preload };
  const kept = path.join(tree.workshop, `${arch}-${await toolchainId()}`);
  await mkdir(kept, { recursive: true });
  const keep = async (name: string, write: (file: string) => Promise<unknown>): Promise<string> => {
    const file = path.join(kept, name);
    if (existsSync(file)) return file;
    const aside = `${file}.${randomUUID()}`;
    await write(aside);
    await rename(aside, file);
    return file;
  };

  const environmentFile = await keep('environment', (file) =>
    make(making, 'olddefconfig', { REFEREE_ENVIRONMENT: file }),
  );
  const environment = readEnvironment(await readFile(environmentFile, 'latin1'));
  const probeFile = await keep('probes', (file) =>
    inFolder((folder) =>
      runConf(binary, { mode: 'olddefconfig' }, folder, { ...environment, REFEREE_RECORD: file }),
    ),
  );
  const replayed = { ...environment, REFEREE_REPLAY: probeFile };
  const servers = new ConfServers(binary, replayed);

  return {
    ...binary,
    tree,
    arch,
    environment,
    replayed,
    probes: readProbes(await readFile(probeFile, 'latin1')),
    run: (job) => inFolder((folder) => runConf(binary, job, folder, replayed)),
    runForked: (job) => inFolder((folder) => servers.run(job, folder)),
    make: async (target) => {
      const answered = { REFEREE_REPLAY: probeFile, KCONFIG_AUTOCONFIG: '/dev/null' };
      const file = await keep(target, (aside) => make(making, target, answered, aside));
      return readFile(file, 'latin1');
    },
    close: () => servers.close(),
  };
}

/** Fragments are merged in the build folder itself, whatever KCONFIG_CONFIG says (5.10): what is written is moved. */
const makeScript = `
tree=$1 build=$2 arch=$3 target=$4 result=$5
mkdir -p "$build"
rm -f "$build/.config" "$build/.config.old"
make -s -C "$tree" O="$build" ARCH="$arch" "$target" </dev/null
[ -z "$result" ] || mv "$build/.config" "$result"`;

async function buildFolder({ workshop }: KernelTree): Promise<string> {
  return path.join(workshop, `build-${await toolchainId()}`);
}

async function make(
  { tree, arch, preload }: { readonly tree: KernelTree; readonly arch: string; readonly preload: string },
  target: string,
  variables: Readonly<Record<string, string>>,
  result = '',
): Promise<void> {
  const lock = path.join(tree.workshop, 'lock');
  const build = await buildFolder(tree);
  await run('flock', [lock, 'sh', '-euc', makeScript, 'sh', tree.folder, build, arch, target, result], {
    env: { ...plainEnvironment, LD_PRELOAD: preload, ...variables },
    maxBuffer: 64 << 20,
  });
}

async function inFolder<T>(use: (folder: string) => Promise<T>): Promise<T> {
  const folder = await mkdtemp(path.join(tmpdir(), 'quern-conf-'));
  try {
    return await use(folder);
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/** Ours, and what belongs to one run of make alone. */
const passing =
  /^(?:LD_PRELOAD|REFEREE_\w+|MAKEFLAGS|MFLAGS|MAKELEVEL|MAKEOVERRIDES|MAKE_TERM\w+|KCONFIG_\w+|PWD|OLDPWD|_)$/u;

function readEnvironment(text: string): Readonly<Record<string, string>> {
  const variables: Record<string, string> = {};
  for (const one of text.split('\0')) {
    const [, name = '', value = ''] = /^([^=]+)=(.*)$/su.exec(one) ?? [];
    if (name !== '' && !passing.test(name)) variables[name] = value;
  }
  return variables;
}

function readProbes(text: string): ReadonlyMap<string, string> {
  const fields = text.split('\0');
  const probes = new Map<string, string>();
  for (let index = 0; index + 1 < fields.length; index += 2) {
    const [command = '', output = ''] = fields.slice(index, index + 2);
    if (!probes.has(command)) probes.set(command, output);
  }
  return probes;
}
