/** Brings what a lock pins into the store. */
import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { downloadAll } from '../host/download.ts';
import type { Host } from '../host/host.ts';
import { inputFiles, sourceFile } from '../kit/input-files.ts';
import type { Inputs, SourceInputs } from '../spec/lock.ts';
import { isFetched, isRemote } from '../spec/spec.ts';
import { sourceCodes } from './codes.ts';
import { fetchImage } from './fetch-image.ts';
import { fetchPinnedCommit } from './git-commit.ts';
import { storeTarball } from './local-tarball.ts';
import { findLocalSource, type LocalPin, type Locate } from './locate.ts';
import { fetchPinnedTar, heldTar, type FetchTarballOptions } from './remote-tarball.ts';
import { storeTree, type TreeOptions } from './tree-archive.ts';

export type FetchInputsOptions = FetchTarballOptions & TreeOptions & { readonly parallel?: number };

/**
 * Fetches the source, all packages and the image: each from its origin, packages else from the dated copy of it. A source
 * on this machine is read again and must be what was pinned.
 * @param locate says where a path of the lock is on this machine, or refuses it
 * @throws Failure what `downloadAll` and `fetchImage` throw; `source/local-changed` and what reading a local source throws
 */
export async function fetchInputs(
  host: Host,
  inputs: Inputs,
  locate: Locate,
  options: FetchInputsOptions = {},
): Promise<void> {
  const { source } = inputs;
  if (source.kind !== 'debian') await fetchSource(host, inputs, locate, options);
  if (inputs.image) await fetchImage(host, inputs.image, options);
  const files = inputFiles(inputs).filter(
    ({ kind }) => kind !== 'layer' && (kind !== 'source' || source.kind === 'debian'),
  );
  await downloadAll(host, 'fetching source and packages', files, options);
}

/**
 * Fetches what an environment is made of, and not the source.
 * @throws Failure what `downloadAll` and `fetchImage` throw
 */
export async function fetchPackages(host: Host, inputs: Inputs): Promise<void> {
  if (inputs.image) await fetchImage(host, inputs.image);
  const files = inputFiles(inputs).filter(({ kind }) => kind === 'base' || kind === 'package');
  await downloadAll(host, 'fetching packages', files);
}

/** Fetches the source alone; parameters and failures as those of `fetchInputs`. */
export async function fetchSource(
  host: Host,
  inputs: SourceInputs,
  locate: Locate,
  options: FetchInputsOptions = {},
): Promise<void> {
  const { source } = inputs;
  if (source.kind === 'debian') await downloadAll(host, 'fetching the source', [sourceFile(inputs)], options);
  else if (isRemote(source)) await fetchPinnedTar(host, source, options);
  else if (source.kind === 'git') await fetchPinnedCommit(host, source, options);
  else await storeLocal(host, source, locate, options);
}

/** The file of the store that is the source: by its SHA-256. It has to be there. */
export async function storedSource(host: Host, { source }: Pick<SourceInputs, 'source'>): Promise<string> {
  if (!isRemote(source)) return source.sha256;
  const held = await heldTar(host, source);
  if (held === undefined) throw new Error(`the store does not have the tar ${source.tar.sha256}`);
  return held;
}

/**
 * Reads a source on this machine again, although the store may have it: nobody expects an edited tree to be built as it
 * was before. One that is gone is no matter, as long as the store has it.
 * @throws Failure `source/local-changed`, and what reading it throws
 */
export async function assertLocalSource(
  host: Host,
  { source }: Inputs,
  locate: Locate,
  options: TreeOptions = {},
): Promise<void> {
  if (source.kind === 'debian' || isFetched(source)) return;
  const full = await findLocalSource(host, source, locate);
  if (full !== undefined) await readLocal(host, source, full, options);
}

async function storeLocal(host: Host, pin: LocalPin, locate: Locate, options: TreeOptions): Promise<void> {
  if (await host.store.has(pin.sha256)) return;
  await readLocal(host, pin, await locate(pin.path, pin.kind === 'tree' ? 'folder' : 'file'), options);
}

async function readLocal(host: Host, pin: LocalPin, full: string, options: TreeOptions): Promise<void> {
  host.progress.stage('reading the source');
  try {
    if (pin.kind === 'tarball') await storeTarball(host, full, pin);
    else await storeTree(host, full, options, pin);
  } catch (error) {
    throw changed(error, pin);
  }
}

function changed(error: unknown, pin: LocalPin): unknown {
  const [first] = error instanceof Failure ? error.diagnostics : [];
  if (first?.code !== 'host/wrong-digest' && first?.code !== 'host/wrong-size') return error;
  const what = pin.kind === 'tree' ? 'the tree' : 'the file';
  return new Failure(
    sourceCodes.report('source/local-changed', {
      message: `${what} ${quoted(pin.path, 120)} is no longer what was pinned`,
      notes: [first.message],
      help: 'Pin it as it is now: quern pin --refresh source.',
    }),
    { cause: error },
  );
}
