/**
 * A folder with everything that a build takes, as `quern keep` makes it:
 *
 *     README.md, SHA256SUMS     what this is; the digests of all other files
 *     SPEC, its lock, and what the spec names beside them, under the same paths
 *     kconfig.pack              the Kconfig files of the source, so that nobody has to read it for a configuration
 *     kit/                      the kit, and in kit/inputs what `run.sh` would fetch
 *
 * A command that is given the spec in there takes these files from there, and from nowhere else.
 */
import { lstat, readFile } from 'node:fs/promises';
import { basename, dirname, join, resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { parseChecksums } from '../record/checksums.ts';
import { commandCodes } from './codes.ts';

/** Parts of such a folder; what the spec brings comes beside them. */
export const keptFiles = {
  readme: 'README.md',
  checksums: 'SHA256SUMS',
  pack: 'kconfig.pack',
  kit: 'kit',
  inputs: 'kit/inputs',
} as const;

/** Name to SHA-256 of every file that a folder was made with; nothing when `quern keep` has not made it. */
export async function readKept(folder: string): Promise<ReadonlyMap<string, string> | undefined> {
  const name = join(folder, keptFiles.checksums);
  const text = await readFile(name, 'utf8').catch(() => undefined);
  if (text === undefined) return undefined;
  const { value, diagnostics } = parseChecksums(text, name);
  if (![keptFiles.readme, keptFiles.pack, `${keptFiles.kit}/run.sh`].every((file) => value.has(file)))
    return undefined;
  if (exitOf(diagnostics) !== exitCodes.ok)
    throw new Failure(diagnostics, { sources: new Map([[name, text]]) });
  return value;
}

/**
 * Where a spec lies in a kept folder, lends the store what is in it.
 *
 * @throws Failure `command/kept-incomplete` when some of it is not there, and with what is wrong in `SHA256SUMS`
 */
export async function lendKept(host: Host, specPath: string): Promise<void> {
  const spec = resolve(host.cwd, specPath);
  const folder = dirname(spec);
  const kept = await readKept(folder);
  if (!kept?.has(basename(spec))) return;
  const missing: string[] = [];
  for (const name of kept.keys()) {
    const found = await lstat(join(folder, name)).catch(() => undefined);
    if (!found?.isFile()) missing.push(name);
  }
  if (missing.length > 0) throw incomplete(folder, missing);
  const lent = [...kept].filter(
    ([name]) => name === keptFiles.pack || name.startsWith(`${keptFiles.inputs}/`),
  );
  host.store.lend(new Map(lent.map(([name, sha256]) => [sha256, join(folder, name)])));
}

/** How many names a message has room for. */
const mostNamed = 5;

function incomplete(folder: string, missing: readonly string[]): Failure {
  const more = missing.length - mostNamed;
  return new Failure(
    commandCodes.report('command/kept-incomplete', {
      message: `${quoted(folder, 120)} no longer has all that it was made with: ${quoted(missing[0] ?? '', 120)} is missing, or no plain file`,
      notes: [
        ...missing.slice(1, mostNamed).map((name) => `So is ${quoted(name, 120)}.`),
        ...(more > 0 ? [`And ${more} more.`] : []),
      ],
      help: 'Bring the files from another copy of the folder, or make it anew: quern keep. To build without it, copy the spec, its lock and what it names out of it.',
    }),
  );
}
