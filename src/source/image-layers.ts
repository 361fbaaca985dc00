/**
 * Files of an image, read through its layers. Source: OCI image specification 1.1, layer.md: a layer is a tar archive of
 * what it adds to those below; `.wh.NAME` takes NAME away, and `.wh..wh..opq` all that is in its folder.
 */
import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Host } from '../host/host.ts';
import type { LayerPin, RegistryImage } from '../spec/lock.ts';
import { bytesOf, tarMembers } from '../host/tar-members.ts';
import { canRead, decompressStream } from './decompress.ts';
import { registryCodes } from './registry-codes.ts';

/** A few bytes can unpack to more than any disk holds; no system to build a kernel in comes near this. */
const most = { bytes: 32 * 1024 ** 3, members: 2_000_000 };
/** Of a file that is read into memory: dpkg's database has about a megabyte per thousand packages. */
const mostFileBytes = 64 << 20;

const whiteout = '.wh.';
const opaque = '.wh..wh..opq';

/**
 * Reads some plain files of an image whose layers are in the store. Each layer is unpacked to its end, and must be what
 * the image says of it.
 *
 * @param wanted paths without a slash in front
 * @throws Failure `registry/bad-answer`, `registry/unread-layer`
 */
export async function readImageFiles(
  host: Host,
  image: RegistryImage,
  wanted: readonly string[],
): Promise<ReadonlyMap<string, Uint8Array>> {
  host.progress.stage('reading the image');
  let files: ReadonlyMap<string, Uint8Array> = new Map();
  for (const [place, layer] of image.layers.entries()) {
    const changes = await readLayer(host, layer, new Set(wanted), place + 1);
    const left = [...files].filter(([path]) => !changes.hides(path));
    files = new Map([...left, ...changes.files]);
    host.progress.advance(place + 1, image.layers.length, 'files');
  }
  return files;
}

interface Changes {
  readonly files: ReadonlyMap<string, Uint8Array>;
  /** Whether a file of the layers below is no longer there. */
  hides(path: string): boolean;
}

async function readLayer(
  host: Host,
  layer: LayerPin,
  wanted: ReadonlySet<string>,
  nth: number,
): Promise<Changes> {
  const files = new Map<string, Uint8Array>();
  const gone = new Set<string>();
  const emptied = new Set<string>();
  await readUnpacked(host, layer, nth, async (name, kind, content) => {
    const path = plain(name);
    const at = path.lastIndexOf('/') + 1;
    const [folder, base] = [path.slice(0, Math.max(0, at - 1)), path.slice(at)];
    if (base === opaque) emptied.add(folder);
    else if (base.startsWith(whiteout)) gone.add(path.slice(0, at) + base.slice(whiteout.length));
    else if (kind !== 'directory') {
      // what stands in the place of a folder takes it away with all that was in it
      gone.add(path);
      if (kind === 'file' && wanted.has(path)) files.set(path, await whole(content, path));
    }
  });
  const above = (path: string): readonly string[] =>
    [...path.matchAll(/\//gu)].map(({ index }) => path.slice(0, index));
  return {
    files,
    hides: (path) =>
      [path, ...above(path)].some((one) => gone.has(one)) ||
      ['', ...above(path)].some((one) => emptied.has(one)),
  };
}

/** @param visit told each member, whose content it may read */
async function readUnpacked(
  host: Host,
  { sha256, compression, unpacked }: LayerPin,
  nth: number,
  visit: (name: string, kind: string, content: AsyncIterable<Uint8Array>) => Promise<void>,
): Promise<void> {
  if (!canRead(compression)) throw unread(nth);
  const hash = createHash('sha256');
  const file = createReadStream(host.store.path(sha256), { highWaterMark: 1 << 18 });
  try {
    const tar = measured(decompressStream(file, compression), hash.update.bind(hash));
    for await (const entry of tarMembers(tar, host.signal, most))
      await visit(entry.header.name, entry.header.type ?? 'file', bytesOf(entry));
  } catch (error) {
    host.signal.throwIfAborted();
    if (error instanceof Failure) throw error;
    throw bad(nth, `it cannot be unpacked: ${error instanceof Error ? error.message : String(error)}`, error);
  } finally {
    file.destroy();
  }
  if (hash.digest('hex') !== unpacked) throw bad(nth, 'it unpacks to something else than the image says');
}

async function* measured(
  chunks: AsyncIterable<Uint8Array>,
  note: (chunk: Uint8Array) => void,
): AsyncGenerator<Uint8Array> {
  for await (const chunk of chunks) {
    note(chunk);
    yield chunk;
  }
}

async function whole(content: AsyncIterable<Uint8Array>, path: string): Promise<Uint8Array> {
  const chunks: Uint8Array[] = [];
  let size = 0;
  for await (const chunk of content) {
    size += chunk.length;
    if (size > mostFileBytes) throw new Error(`${path} in it is larger than in any system`);
    chunks.push(chunk);
  }
  return Buffer.concat(chunks);
}

function plain(name: string): string {
  return name
    .split('/')
    .filter((part) => part !== '' && part !== '.')
    .join('/');
}

function bad(nth: number, why: string, cause?: unknown): Failure {
  return new Failure(
    registryCodes.report('registry/bad-answer', {
      message: `layer ${nth} of the image cannot be used: ${why}`,
      notes: ['It has the digest that its manifest gives, so that it was made or pushed so.'],
      help: 'Name another image, or make and push this one again.',
    }),
    { cause },
  );
}

function unread(nth: number): Failure {
  return new Failure(
    registryCodes.report('registry/unread-layer', {
      message: `layer ${nth} of the image is compressed with zstd, which this Node (${process.version}) cannot read`,
      help: 'Start Quern with Node 22.15 or later, or name an image whose layers are compressed with gzip.',
    }),
  );
}
