import { lstat, mkdtemp, rm, stat } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted, shellTyped } from '../diagnostics/printable.ts';
import { findEngine } from '../container/engine.ts';
import { runKit, type KitRun } from '../container/run-kit.ts';
import { digestFile } from '../host/digest-file.ts';
import type { Host } from '../host/host.ts';
import { writeFiles } from '../host/output-folder.ts';
import { formatBytes } from '../host/quantities.ts';
import { fetchPackages } from '../source/fetch-inputs.ts';
import type { Inputs } from '../spec/lock.ts';
import { commandCodes } from './codes.ts';
import type { CommandResult } from './command.ts';
import { layPackages } from './inputs-folder.ts';
import { openSpec } from './open-spec.ts';
import type { Engine, EnvironmentOptions } from './options.ts';
import { prepareKit } from './prepare-kit.ts';

export interface EnvironmentValue {
  /** The container engine that has the environment now. */
  readonly engine: Engine;
  /** The file that it was kept in, or taken from. */
  readonly file?: {
    readonly path: string;
    readonly sha256: string;
    /** @asType integer */
    readonly bytes: number;
  };
}

/**
 * `quern environment`: sees that the engine has the environment of a spec. It is made of its packages, or taken from a file
 * that another engine's was kept in, which counts by its digest alone: nobody can see in it what it was made of.
 */
export async function environment(
  options: EnvironmentOptions,
  host: Host,
): Promise<CommandResult<EnvironmentValue>> {
  const opened = await openSpec(host, options.spec);
  const { file } = options;
  const path = resolve(host.cwd, file?.path ?? '');
  if (file?.kind === 'save') await assertNew(path, file.path);
  const prepared = await prepareKit(opened, options, host);
  const engine = await findEngine(host, options.engine);
  const work = await mkdtemp(join(tmpdir(), 'quern-environment-'));
  try {
    const kit: KitRun = {
      engine,
      folder: join(work, 'kit'),
      inputs: join(work, 'inputs'),
      out: join(work, 'out'),
    };
    await writeFiles(kit.folder, prepared.kit);
    if (file?.kind === 'load') await runKit(host, 'load', kit, [path, file.sha256]);
    else await make(host, prepared.lock.inputs, kit);
    if (file?.kind === 'save') await runKit(host, 'save', kit, [path]);
  } finally {
    await rm(work, { recursive: true, force: true });
  }
  const value: EnvironmentValue = {
    engine: engine.name,
    ...(file && {
      file: {
        path: file.path,
        sha256: file.kind === 'load' ? file.sha256 : await digestFile(path),
        bytes: (await stat(path)).size,
      },
    }),
  };
  const diagnostics = [...opened.diagnostics, ...prepared.diagnostics];
  return { exit: 0, diagnostics, value, text: describe(value, options), sources: prepared.sources };
}

/** @throws Failure `command/file-taken`: said before minutes are spent for it */
async function assertNew(path: string, name: string): Promise<void> {
  const taken = await lstat(path).catch(() => undefined);
  const folder = await stat(dirname(path)).catch(() => undefined);
  if (!taken && folder?.isDirectory()) return;
  throw new Failure(
    commandCodes.report('command/file-taken', {
      message: `the environment cannot be kept in ${quoted(name, 120)}: ${taken ? 'it is there already' : 'there is no such folder'}`,
      help: taken
        ? 'Name another file, or remove it yourself.'
        : 'Make the folder, or name a file elsewhere.',
    }),
  );
}

async function make(host: Host, inputs: Inputs, kit: KitRun): Promise<void> {
  await fetchPackages(host, inputs);
  await layPackages(host, inputs, kit.inputs);
  await runKit(host, 'environment', kit);
}

function describe({ engine, file }: EnvironmentValue, options: EnvironmentOptions): string {
  if (!file || options.file?.kind !== 'save') return `${engine} has the environment of ${options.spec}`;
  return [
    `${file.path} has the environment of ${options.spec}: ${formatBytes(file.bytes)}`,
    `  SHA-256 ${file.sha256}`,
    `  to use it elsewhere: quern environment ${shellTyped(options.spec)} --load ${shellTyped(file.path)} --sha256 ${file.sha256}`,
  ].join('\n');
}
