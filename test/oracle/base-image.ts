/**
 * A base image of a Debian release: the Essential packages, put together by a kit of its own and exported by the engine.
 * Engines and skopeo take it as they take any other.
 */
import { spawnSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { layPackages } from '../../src/commands/inputs-folder.ts';
import { readKitTemplates } from '../../src/commands/kit-templates.ts';
import { downloadAll } from '../../src/host/download.ts';
import type { Host } from '../../src/host/host.ts';
import { writeFiles } from '../../src/host/output-folder.ts';
import { inputFiles } from '../../src/kit/input-files.ts';
import { probeTarFile, renderProbeKit } from '../../src/kit/probe-kit.ts';
import { readIndexes } from '../../src/source/debian-archive.ts';
import { pinPackages } from '../../src/source/pin-packages.ts';
import type { Inputs } from '../../src/spec/lock.ts';
import type { DebianRelease } from '../../src/spec/spec.ts';
import { sha256 } from './registry.ts';

function done(program: string, words: readonly string[]): { readonly stderr: string } {
  const { status, stderr } = spawnSync(program, words, { encoding: 'utf8' });
  if (status !== 0) throw new Error(`${program} ${words.join(' ')}: ${stderr}`);
  return { stderr };
}

/**
 * Makes the image in docker and pushes it by skopeo.
 *
 * @param folder for what is needed on the way
 * @param target `127.0.0.1:PORT/NAME:TAG`
 */
export async function pushBaseImage(
  host: Host,
  folder: string,
  release: DebianRelease,
  target: string,
): Promise<void> {
  const archive = await readIndexes(host, { release, architecture: 'amd64' });
  const { value: packages } = pinPackages(archive.index, []);
  const empty = { sha256: sha256(Buffer.alloc(0)), size: 0 };
  const { origins, indexes } = archive;
  const source = { kind: 'tree', path: 'none', ...empty } as const;
  const inputs: Inputs = { origins, indexes, source, fragments: [], patches: [], packages };
  const [kit, laid, saved] = ['kit', 'inputs', 'base.tar'].map((name) => join(folder, name)) as [
    string,
    string,
    string,
  ];
  await writeFiles(kit, renderProbeKit('base', inputs, empty, await readKitTemplates()));
  const files = inputFiles(inputs).filter(({ kind }) => kind !== 'source');
  await downloadAll(host, 'fetching the base system', files);
  await layPackages(host, inputs, laid);
  writeFileSync(join(laid, probeTarFile), '');
  const run = [join(kit, 'run.sh'), '-e', 'docker', '-i', laid, 'environment'];
  done('sh', run);
  // the second time there is nothing to do; the trace of the shell says how the image is called
  const image = /^\+ image=(\S+)$/mu.exec(done('sh', ['-x', ...run]).stderr)?.[1] ?? '';
  done('docker', ['save', '-o', saved, image]);
  done('skopeo', ['copy', '--dest-tls-verify=false', `docker-archive:${saved}`, `docker://${target}`]);
}
