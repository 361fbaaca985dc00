import { chmod, copyFile, link, lstat, readdir, readFile } from 'node:fs/promises';
import { basename, dirname, join, relative, resolve, sep } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted, shellTyped } from '../diagnostics/printable.ts';
import { digestFile, digestOf } from '../host/digest-file.ts';
import type { Host } from '../host/host.ts';
import {
  assertFree,
  makeOutputFolder,
  makeReadable,
  notWritten,
  outputTaken,
  writeFiles,
  type Ours,
} from '../host/output-folder.ts';
import { formatBytes } from '../host/quantities.ts';
import { inputFiles, type InputFile } from '../kit/input-files.ts';
import type { Files } from '../kit/kit.ts';
import { renderTemplate } from '../kit/templates.ts';
import { formatChecksums } from '../record/checksums.ts';
import { fetchInputs } from '../source/fetch-inputs.ts';
import { isFetched, type Spec } from '../spec/spec.ts';
import { isPackaged, type Inputs, type SourcePin } from '../spec/lock.ts';
import { commandCodes } from './codes.ts';
import type { CommandResult } from './command.ts';
import { heldInputs } from './inputs-folder.ts';
import { keptFiles, readKept } from './kept-folder.ts';
import { readKitTemplates } from './kit-templates.ts';
import { openSpec, type OpenSpec } from './open-spec.ts';
import type { KeepOptions } from './options.ts';
import { prepareKit, type PreparedKit } from './prepare-kit.ts';
import { resolveInside } from './resolve-inside.ts';
import { locateFor, lockPath, type LocalFiles } from './spec-files.ts';
import { storedPackBytes } from './source-pack.ts';

export interface KeepValue {
  readonly folder: string;
  /** The spec in there, to be built from. */
  readonly spec: string;
  readonly kernelRelease: string;
  /** @asType integer */
  readonly files: number;
  /**
   * Of all files together.
   *
   * @asType integer
   */
  readonly bytes: number;
  /**
   * Bytes of inputs that had to be copied: those of an earlier folder in the same place stay.
   *
   * @asType integer
   */
  readonly copied: number;
}

/**
 * `quern keep`: a folder with everything that a build takes, from which it can be built without network, by Quern or by
 * the kit alone. Inputs are copied: a file that the store shares with it by a hard link would change on both sides.
 */
export async function keep(options: KeepOptions, host: Host): Promise<CommandResult<KeepValue>> {
  const opened = await openSpec(host, options.spec);
  const folder = resolve(host.cwd, options.output);
  const earlier = await readEarlier(folder);
  await assertFree(folder, earlier.ours);
  const prepared = await prepareKit(opened, options, host);
  const { inputs, answers } = prepared.lock;
  host.progress.line(announce(inputFiles(inputs), options.output));
  await fetchInputs(host, inputs, locateFor(host, opened), { epoch: opened.spec.build.epoch });
  const own = await ownFiles(host, opened, prepared);
  const held = [...(await heldInputs(host, inputs)), ...packagedBase(inputs)];
  const sums = new Map([...own].map(([name, content]) => [name, digestOf(content)]));
  for (const { file, sha256 } of held) sums.set(`${keptFiles.inputs}/${file}`, sha256);
  let laid: Laid = { bytes: 0, copied: 0 };
  await makeOutputFolder(folder, earlier.ours, async (aside) => {
    await writeFiles(aside, own);
    laid = await layHeld(host, held, aside, { folder, sums: earlier.sums });
    const checksums = formatChecksums([...sums].map(([name, sha256]) => ({ name, sha256 })));
    await writeFiles(aside, new Map([[keptFiles.checksums, Buffer.from(checksums)]]));
  });
  const value: KeepValue = {
    folder: options.output,
    spec: join(options.output, basename(opened.path)),
    kernelRelease: answers.kernelRelease,
    files: sums.size + 1,
    bytes: laid.bytes + [...own.values()].reduce((sum, { length }) => sum + length, 0),
    copied: laid.copied,
  };
  return {
    exit: 0,
    diagnostics: [...opened.diagnostics, ...prepared.diagnostics],
    value,
    text: describeKeep(value),
    sources: prepared.sources,
  };
}

interface Earlier {
  readonly ours: Ours;
  readonly sums: ReadonlyMap<string, string>;
}

/**
 * What an earlier run has left there.
 * @throws Failure `host/output-taken` when it is not that alone: it is replaced as a whole
 */
async function readEarlier(folder: string): Promise<Earlier> {
  const sums = (await readKept(folder)) ?? new Map<string, string>();
  const tops = new Set([...sums.keys(), keptFiles.checksums].map((name) => name.split('/')[0] ?? name));
  if (sums.size > 0) {
    const found = await readdir(folder, { recursive: true, withFileTypes: true });
    const stray = found
      .filter((entry) => !entry.isDirectory())
      .map((entry) => relative(folder, join(entry.parentPath, entry.name)).split(sep).join('/'))
      .find((name) => name !== keptFiles.checksums && !sums.has(name));
    if (stray !== undefined)
      throw outputTaken(folder, `it holds ${quoted(stray, 120)}, which is not of an earlier output`);
  }
  return {
    sums,
    ours: { mark: keptFiles.checksums, says: `  ${keptFiles.pack}\n`, owns: (name) => tops.has(name) },
  };
}

function announce(files: readonly InputFile[], output: string): string {
  const size = (
    ...kinds: readonly InputFile['kind'][]
  ): { readonly count: number; readonly bytes: number } => {
    const some = files.filter(({ kind }) => kinds.includes(kind));
    return { count: some.length, bytes: some.reduce((sum, one) => sum + one.size, 0) };
  };
  const [source, layers, packages] = [size('source'), size('layer'), size('base', 'package')];
  return [
    `keeping ${formatBytes(source.bytes + layers.bytes + packages.bytes)} in ${output}: source ${formatBytes(source.bytes)}`,
    ...(layers.count > 0 ? [`${layers.count} layers ${formatBytes(layers.bytes)}`] : []),
    `${packages.count} packages ${formatBytes(packages.bytes)}`,
  ].join(', ');
}

/** Everything but the inputs, as path to content. */
async function ownFiles(host: Host, opened: OpenSpec, prepared: PreparedKit): Promise<Files> {
  const { spec, path, sha256 } = opened;
  const { lock, files } = prepared;
  const named = namedFiles(spec, lock.inputs.source, files);
  const beside = new Map<string, Uint8Array>();
  for (const file of named) {
    const real = await resolveInside(host, opened.folder, file.path);
    beside.set(file.path, await readPinned(real, file.path, file.sha256));
  }
  const specName = basename(path);
  const lockName = basename(lockPath(specName));
  const readme = renderTemplate(await readKitTemplates(), 'kept.md', {
    name: spec.name,
    kernelRelease: lock.answers.kernelRelease,
    spec: specName,
    lock: lockName,
    pack: keptFiles.pack,
    named: named.length > 0,
  });
  const own = new Map([
    [keptFiles.readme, new TextEncoder().encode(readme)],
    [specName, await readPinned(resolve(host.cwd, path), path, sha256)],
    [
      lockName,
      await readPinned(resolve(host.cwd, prepared.lockPath), prepared.lockPath, prepared.lockSha256),
    ],
    [keptFiles.pack, await storedPackBytes(host, lock.inputs, lock.answers.pack)],
    ...[...prepared.kit].map(([name, content]) => [`${keptFiles.kit}/${name}`, content] as const),
  ]);
  for (const [name, content] of beside) {
    // on a name of ours the one would write over the other
    if (own.has(name) || [...own.keys(), keptFiles.inputs].some((one) => one.startsWith(`${name}/`)))
      throw nameTaken(name);
    if (name === keptFiles.checksums || name.startsWith(`${keptFiles.kit}/`)) throw nameTaken(name);
    own.set(name, content);
  }
  return own;
}

interface NamedFile {
  /** Relative to the spec's folder. */
  readonly path: string;
  /** Absent where the lock has none. */
  readonly sha256?: string;
}

/** The files beside the spec that it names, but for a source: that is among the inputs. */
function namedFiles(spec: Spec, pin: SourcePin, files: LocalFiles): readonly NamedFile[] {
  const { source } = spec.kernel;
  const signature = source.kind === 'url' && source.signature?.kind === 'file' ? [source.signature] : [];
  const series = spec.patches.flatMap((item) =>
    typeof item === 'object' && 'series' in item ? [{ path: item.series }] : [],
  );
  return [
    ...(files.base ? [files.base] : []),
    ...files.fragments,
    ...series,
    ...files.patches,
    ...(isFetched(pin) && pin.keyring ? [pin.keyring] : []),
    ...signature,
  ];
}

/** @throws Failure `command/file-changed` when it was written to since it was looked at */
async function readPinned(file: string, name: string, sha256: string | undefined): Promise<Uint8Array> {
  const content = await readFile(file);
  if (sha256 === undefined || digestOf(content) === sha256) return content;
  throw new Failure(
    commandCodes.report('command/file-changed', {
      message: `${quoted(name, 120)} has changed while it was read`,
      help: 'Start again when nobody writes to it.',
    }),
  );
}

function nameTaken(name: string): Failure {
  return new Failure(
    commandCodes.report('command/kept-name-taken', {
      message: `the spec names ${quoted(name, 120)}, and a kept folder has a file of its own there`,
      notes: [
        `Its own are ${[keptFiles.readme, keptFiles.checksums, keptFiles.pack].join(', ')} and the folder ${keptFiles.kit}.`,
      ],
      help: 'Give the file another name, or put it into a folder, and change the spec accordingly.',
    }),
  );
}

type KeptInput = Pick<InputFile, 'file' | 'sha256' | 'size'>;

/** The package that the base came out of, which the configuration is read from again. */
function packagedBase({ base }: Inputs): readonly KeptInput[] {
  return base && isPackaged(base)
    ? [{ file: basename(base.path), sha256: base.sha256, size: base.size }]
    : [];
}

interface Laid {
  /** Of all inputs. */
  readonly bytes: number;
  readonly copied: number;
}

/** @param earlier the folder that is about to be replaced: what is right in it moves over, and is not copied again */
async function layHeld(
  host: Host,
  held: readonly KeptInput[],
  aside: string,
  earlier: { readonly folder: string; readonly sums: ReadonlyMap<string, string> },
): Promise<Laid> {
  host.progress.stage('copying the inputs');
  const total = held.reduce((sum, { size }) => sum + size, 0);
  let [bytes, copied] = [0, 0];
  for (const { file, sha256 } of held) {
    host.signal.throwIfAborted();
    const name = `${keptFiles.inputs}/${file}`;
    const target = join(aside, name);
    await makeReadable(dirname(target));
    const old = join(earlier.folder, name);
    const stays = earlier.sums.get(name) === sha256 && (await moveOver(old, target, sha256));
    if (!stays) {
      await copyFile(host.store.path(sha256), target).catch((error: NodeJS.ErrnoException) => {
        // that is the store's file
        throw error.code === 'ENOENT' ? error : notWritten(target, error);
      });
      await chmod(target, 0o644);
    }
    const { size } = await lstat(target);
    bytes += size;
    if (!stays) copied += size;
    host.progress.advance(bytes, total, 'bytes');
  }
  return { bytes, copied };
}

/** By a hard link, of which the older half goes with its folder. Some file systems have none. */
async function moveOver(old: string, target: string, sha256: string): Promise<boolean> {
  const found = await lstat(old).catch(() => undefined);
  if (!found?.isFile() || (await digestFile(old)) !== sha256) return false;
  return link(old, target).then(
    () => true,
    () => false,
  );
}

function describeKeep({ folder, spec, kernelRelease, files, bytes }: KeepValue): string {
  return [
    `all that ${kernelRelease} takes is in ${folder}: ${files} files, ${formatBytes(bytes)}`,
    `  to build from it, without network:  quern build ${shellTyped(spec)} -o DIR`,
    `  without Quern as well:              sh ${shellTyped(join(folder, keptFiles.kit, 'run.sh'))} -o DIR`,
    `  to see whether it is as it was:     cd ${shellTyped(folder)} && sha256sum -c ${keptFiles.checksums}`,
  ].join('\n');
}
