import { run } from '../../src/host/processes.ts';
import type { BuildContainer, EngineApi } from './engine-api.ts';
import { measurePhase, type Phase } from './measure-phase.ts';

export interface HandMade extends Phase {
  /** SHA-256 of the kernel image. */
  readonly imageSha256: string;
}

/** What somebody sets who builds the demo's kernel by hand and wants the same bytes: the demo's spec says as much. */
const environment = [
  'PATH=/usr/sbin:/usr/bin:/sbin:/bin',
  'HOME=/build',
  'TMPDIR=/build/tmp',
  'LC_ALL=C',
  'TZ=UTC',
  "KBUILD_BUILD_TIMESTAMP='Thu Jan  1 00:00:00 UTC 2026'",
  'KBUILD_BUILD_USER=gauge',
  'KBUILD_BUILD_HOST=otter-bank',
  'KBUILD_BUILD_VERSION=1',
  'SOURCE_DATE_EPOCH=1767225600',
];
const make = `env -i ${environment.join(' ')} make ARCH=x86_64 LOCALVERSION=-gauge`;

/** The tree as it is when `make` begins: the same source, patches and configuration. */
const prepare = `set -e
mkdir /build/linux /build/tmp
cd /build/linux
dpkg-deb --fsys-tarfile /quern/kit/linux-source-*.deb | tar -xO ./usr/src/linux-source-6.1.tar.xz |
  tar -xJ --strip-components=1
for patch in /quern/kit/patches/*; do patch -p1 <"$patch"; done
cp /quern/kit/kernel.config .config
${make} olddefconfig`;

/** It ends a little later than make, so that its accounts can still be read. */
const compile = (jobs: number): string => `echo 'make begins'
${make} -j ${jobs} bzImage modules || exit
echo 'make ends'
sha256sum arch/x86/boot/bzImage
sleep 3`;

/**
 * Builds the demo's kernel with one call of `make`, in a container like the one that Quern has built in: the same image,
 * user, sandbox and number of jobs; a fresh tree from the same inputs.
 *
 * @param model that container; its volume must still be there
 */
export async function makeByHand(
  model: BuildContainer,
  jobs: number,
  api: EngineApi,
  options: { readonly cwd: string; readonly signal: AbortSignal },
): Promise<HandMade> {
  const name = `bench-by-hand-${process.pid}`;
  const docker = async (...args: string[]): Promise<void> => {
    const { code, stderr } = await run('docker', args, options);
    if (code !== 0) throw new Error(`docker ${args.join(' ')} ended with ${code}:\n${stderr}`);
  };
  const create = (script: string, folder: string, ...volumes: string[]): Promise<void> =>
    api.createLike(model, name, { command: ['/bin/sh', '-c', script], folder, volumes });
  await docker('volume', 'create', name);
  try {
    await create(prepare, '/build', `${name}:/build`, `${model.volume}:/quern:ro`);
    await docker('start', '--attach', name);
    await create(compile(jobs), '/build/linux', `${name}:/build`);
    const marks = { begin: /^make begins$/u, end: /^make ends$/u, container: () => Promise.resolve(name) };
    const measured = await measurePhase(['docker', 'start', '--attach', name], marks, api, options);
    const imageSha256 = /^([0-9a-f]{64}) {2}arch\/x86\/boot\/bzImage$/mu.exec(measured.output)?.[1] ?? '';
    return { ...measured, imageSha256 };
  } finally {
    // also when the run was interrupted
    await run('docker', ['rm', '--force', name]);
    await run('docker', ['volume', 'rm', name]);
  }
}
