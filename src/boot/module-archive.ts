import { createReadStream } from 'node:fs';
import { Readable } from 'node:stream';
import { gunzipSync } from 'node:zlib';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { nearest } from '../diagnostics/nearest.ts';
import { printable, quoted } from '../diagnostics/printable.ts';
import { bytesOf, tarMembers } from '../host/tar-members.ts';
import { unpackXz, unpackXzHere } from '../host/unpack-xz.ts';
import { readModuleInfo } from '../image/module-info.ts';
import { bootCodes } from './codes.ts';
import { moduleName, orderModules, type ModuleNode } from './module-order.ts';

export interface ChosenModule {
  /** As the kernel calls it. */
  readonly name: string;
  /** The module itself, not compressed. */
  readonly bytes: Uint8Array;
}

/** Modules are loaded without being named when the archive holds no more than this. */
export const mostUnnamed = 50;

/** Bytes of one module, and of all that are loaded together: they lie in the memory of the emulated machine twice. */
const largestModule = 256 * 1024 * 1024;
const largestChoice = 512 * 1024 * 1024;
/** Every module of a distribution with its debugging information is less. */
const largestArchive = { bytes: 32 * 1024 * 1024 * 1024, members: 1_000_000 };

export interface ModulesReading {
  readonly value: readonly ChosenModule[];
  readonly diagnostics: readonly Diagnostic[];
}

/**
 * Takes from a `modules.tar.xz` the modules called `wanted` and all they depend on, in the order in which they are to
 * be loaded. With `wanted` absent: all of them, unless they are more than `mostUnnamed`.
 *
 * The archive is read twice, first for names and dependencies, so that one with thousands of modules does not have to
 * fit the memory.
 *
 * @throws Failure `boot/no-such-module`, `boot/modules-too-large`, `boot/archive-unreadable`
 * @throws the reason of `signal` when that is aborted
 */
export async function readModules(
  archive: string,
  wanted: readonly string[] | undefined,
  signal: AbortSignal,
): Promise<ModulesReading> {
  try {
    return await chooseModules(archive, wanted, signal);
  } catch (error) {
    signal.throwIfAborted();
    throw error instanceof Failure ? error : unreadableArchive(archive, error);
  }
}

async function chooseModules(
  archive: string,
  wanted: readonly string[] | undefined,
  signal: AbortSignal,
): Promise<ModulesReading> {
  const nodes = new Map<string, ModuleNode>();
  const diagnostics: Diagnostic[] = [];
  for await (const { path, name, bytes } of modulesOf(archive, signal)) {
    const info = bytes && readModuleInfo(bytes);
    if (info?.value) nodes.set(name, { name, depends: info.value.depends });
    else diagnostics.push(unreadable(path, info?.diagnostics[0]?.message));
  }
  const chosen = wanted ?? (nodes.size <= mostUnnamed ? [...nodes.keys()] : []);
  if (!wanted && nodes.size > mostUnnamed) diagnostics.push(leftOut(nodes.size));
  const unknown = chosen.filter((name) => !nodes.has(moduleName(name)));
  if (unknown.length > 0) throw new Failure(unknown.map((name) => noSuchModule(name, nodes)));

  const order = orderModules(nodes, chosen.map(moduleName));
  const contents = order.length > 0 ? await readContents(archive, new Set(order), signal) : new Map();
  return { value: order.flatMap((name) => contents.get(name) ?? []), diagnostics };
}

async function readContents(
  archive: string,
  names: ReadonlySet<string>,
  signal: AbortSignal,
): Promise<Map<string, ChosenModule>> {
  const contents = new Map<string, ChosenModule>();
  let total = 0;
  for await (const { name, bytes } of modulesOf(archive, signal, names)) {
    if (!bytes) continue;
    total += bytes.length;
    if (total > largestChoice) throw new Failure(tooLarge(names.size));
    contents.set(name, { name, bytes });
  }
  return contents;
}

interface ArchivedModule {
  readonly path: string;
  readonly name: string;
  /** Absent when its compression is not known here, or it is too large. */
  readonly bytes?: Uint8Array;
}

const moduleShape = /\.ko(?:\.gz|\.xz|\.zst)?$/;

/** The modules of an archive one after another; with `names`, those alone. */
async function* modulesOf(
  archive: string,
  signal: AbortSignal,
  names?: ReadonlySet<string>,
): AsyncGenerator<ArchivedModule> {
  for await (const entry of tarMembers(unpackXz(createReadStream(archive)), signal, largestArchive)) {
    const { name: path, type, size } = entry.header;
    const file = path.slice(path.lastIndexOf('/') + 1);
    const name = moduleName(file);
    if (type === 'file' && moduleShape.test(file) && (!names || names.has(name))) {
      const bytes = size > largestModule ? undefined : await unpack(file, await collect(entry));
      yield { path, name, ...(bytes && { bytes }) };
    }
  }
}

async function unpack(file: string, bytes: Buffer): Promise<Uint8Array | undefined> {
  try {
    if (file.endsWith('.gz')) return gunzipSync(bytes, { maxOutputLength: largestModule });
    if (file.endsWith('.xz')) return await collect(unpackXzHere(Readable.from([bytes])));
    return file.endsWith('.ko') ? bytes : undefined;
  } catch {
    return undefined;
  }
}

async function collect(source: AsyncIterable<unknown>): Promise<Buffer> {
  const chunks: Uint8Array[] = [];
  let total = 0;
  for await (const chunk of bytesOf(source)) {
    total += chunk.length;
    if (total > largestModule) throw new RangeError('larger than a module can be');
    chunks.push(chunk);
  }
  return Buffer.concat(chunks);
}

function unreadableArchive(archive: string, cause: unknown): Failure {
  const why = printable(cause instanceof Error ? cause.message : String(cause));
  return new Failure(
    bootCodes.report('boot/archive-unreadable', {
      message: `the modules archive ${quoted(archive)} cannot be read: ${why}`,
      help: 'Copy it again from where it was built, or build again.',
    }),
    { cause },
  );
}

function unreadable(
  path: string,
  why = 'it is too large, or compressed in a way that is not known here',
): Diagnostic {
  return bootCodes.report('boot/module-unreadable', {
    message: `${quoted(path)} was not loaded: ${why}`,
    notes: ['Plain modules are read, and those compressed with gzip or xz.'],
  });
}

function leftOut(count: number): Diagnostic {
  return bootCodes.report('boot/modules-left-out', {
    message: `none of the ${count} modules was loaded, since none was named`,
    help: `Name those that matter: --module NAME. Up to ${mostUnnamed} modules are all loaded without that.`,
  });
}

function noSuchModule(name: string, nodes: ReadonlyMap<string, ModuleNode>): Diagnostic {
  const near = nearest(moduleName(name), nodes.keys());
  return bootCodes.report('boot/no-such-module', {
    message: `the modules archive holds no module ${quoted(name)}`,
    notes: ['What is built into the kernel is no module.'],
    ...(near !== undefined && { help: `Did you mean ${quoted(near)}?` }),
  });
}

function tooLarge(count: number): Diagnostic {
  return bootCodes.report('boot/modules-too-large', {
    message: `the ${count} modules to be loaded take more than ${largestChoice / 1024 / 1024} MiB together`,
    help: 'Name fewer of them, or build the kernel without debugging information.',
  });
}
