/** Brings what a lock pins into the store. */
import path from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { downloadAll, type DownloadOptions } from '../host/download.ts';
import type { Host } from '../host/host.ts';
import { inputFiles, sourceFile } from '../kit/input-files.ts';
import type { Inputs, SourcePin } from '../spec/lock.ts';
import { sourceCodes } from './codes.ts';
import { storeTarball } from './local-tarball.ts';
import { storeTree, type TreeOptions } from './tree-archive.ts';

export type FetchInputsOptions = DownloadOptions & TreeOptions & { readonly parallel?: number };

type LocalPin = Exclude<SourcePin, { readonly kind: 'debian' }>;

/**
 * Fetches the source and all packages: each from its origin, else from the dated copy of it. A source on this machine
 * is read again and must be what was pinned.
 * @param specFolder what paths in the lock are relative to
 * @throws Failure what `downloadAll` throws; `source/local-changed` and what reading a local source throws
 */
export async function fetchInputs(
  host: Host,
  inputs: Inputs,
  specFolder: string,
  options: FetchInputsOptions = {},
): Promise<void> {
  const remote = inputFiles(inputs).filter((file) => file.urls.length > 0);
  if (inputs.source.kind !== 'debian') await storeLocal(host, inputs.source, specFolder, options);
  await downloadAll(host, 'fetching source and packages', remote, options);
}

/** Fetches the source alone; parameters and failures as those of `fetchInputs`. */
export async function fetchSource(
  host: Host,
  inputs: Inputs,
  specFolder: string,
  options: FetchInputsOptions = {},
): Promise<void> {
  if (inputs.source.kind !== 'debian') await storeLocal(host, inputs.source, specFolder, options);
  else await downloadAll(host, 'fetching the source', [sourceFile(inputs)], options);
}

async function storeLocal(
  host: Host,
  pin: LocalPin,
  specFolder: string,
  options: TreeOptions,
): Promise<void> {
  if (await host.store.has(pin.sha256)) return;
  host.progress.stage('reading the source');
  const full = path.resolve(host.cwd, specFolder, pin.path);
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
