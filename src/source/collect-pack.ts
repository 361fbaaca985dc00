/** Picks the files of a Kconfig pack out of a source. */
import { buffer } from 'node:stream/consumers';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import { createPack, isPackPath, type Pack, type PackFile } from '../kconfig/pack.ts';
import { isKeyFile, isPackFile, namedFiles } from '../kconfig/pack-files.ts';
import { sourceCodes } from './codes.ts';
import type { SourceEntry } from './source-tar.ts';

/** Bytes of one file; trees have a tenth of that. */
const largestFile = 8 << 20;
/** Bytes of all together, likewise. */
export const largestPack: number = 128 << 20;
/** How often a source is read for files that are called otherwise. */
const mostPasses = 4;

export interface EntrySource {
  /** The files and links of the tree from the beginning: these, and possibly others. */
  entries(wanted: (path: string) => boolean): AsyncIterable<SourceEntry>;
  /** What the tree is called in messages. */
  readonly name: string;
}

/**
 * @param sha256 of the source, which the pack will say it is of
 * @throws Failure `source/not-a-kernel`, `source/too-large`
 */
export async function collectPack(source: EntrySource, sha256: string): Promise<Pack> {
  const keys = new Set<string>();
  let newest = 0;
  const files = await collect(source, isPackFile, ({ path, time }) => {
    newest = Math.max(newest, time);
    if (isKeyFile(path) && isPackPath(path)) keys.add(path);
  });
  // Nearly always all that Kconfig files name is there by now; a file found so may name others.
  let texts = [...files].filter(([path]) => /(?:^|\/)Kconfig[^/]*$/.test(path)).map(([, file]) => file);
  for (let passes = 0; passes < mostPasses && texts.length > 0; passes += 1) {
    const named = namedFiles(texts.map(({ content }) => decodeLatin1(content)));
    const others = new Set([...named].filter((path) => isPackPath(path) && !files.has(path)));
    const found =
      others.size > 0 ? await collect(source, (path) => others.has(path)) : new Map<string, PackFile>();
    for (const [path, file] of found) files.set(path, file);
    texts = [...found.values()];
  }
  assertKernel(source.name, (path) => files.has(path));
  return createPack(sha256, files, { newest, keys });
}

/**
 * @param name of the tree, for the message
 * @throws Failure `source/not-a-kernel`
 */
export function assertKernel(name: string, has: (path: string) => boolean): void {
  const needed = ['Kconfig', 'Makefile', 'scripts/Kconfig.include'].find((path) => !has(path));
  if (needed === undefined) return;
  throw new Failure(
    sourceCodes.report('source/not-a-kernel', {
      message: `${quoted(name, 120)} is no Linux kernel tree of today: it has no ${needed}`,
      help: 'Name the source of a kernel, with Makefile and Kconfig right below its top folder.',
    }),
  );
}

async function collect(
  source: EntrySource,
  wanted: (path: string) => boolean,
  see: (entry: SourceEntry) => void = () => undefined,
): Promise<Map<string, PackFile>> {
  const files = new Map<string, PackFile>();
  const links = new Map<string, string>();
  let total = 0;
  for await (const entry of source.entries(wanted)) {
    see(entry);
    if (!wanted(entry.path) || !isPackPath(entry.path)) continue;
    if (entry.kind === 'link') {
      links.set(entry.path, resolveLink(entry.path, entry.target));
      continue;
    }
    total += entry.size;
    if (entry.size > largestFile || total > largestPack) throw tooLarge(source.name, entry.path);
    files.set(entry.path, { content: await buffer(entry.content), executable: entry.executable });
  }
  // A pack has no links: it has what they lead to, as far as that is kept itself.
  for (const path of links.keys()) {
    let target: string | undefined = path;
    for (let steps = 0; target !== undefined && links.has(target) && steps < 8; steps += 1) {
      target = links.get(target);
    }
    const file = target === undefined ? undefined : files.get(target);
    if (file) files.set(path, file);
  }
  return files;
}

function resolveLink(path: string, target: string): string {
  const parts = target.startsWith('/') ? [] : path.split('/').slice(0, -1);
  for (const part of target.split('/')) {
    if (part === '..') parts.pop();
    else if (part !== '' && part !== '.') parts.push(part);
  }
  return parts.join('/');
}

/** A file with which a source has more than is read. @param name of the source */
export function tooLarge(name: string, path: string): Failure {
  return new Failure(
    sourceCodes.report('source/too-large', {
      message: `${quoted(name, 120)} has more in the files that are read than any kernel: ${quoted(path, 120)} is too much`,
      help: 'See what is in this source: it is none of a kernel.',
    }),
  );
}
