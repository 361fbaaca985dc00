import { readdir, readFile } from 'node:fs/promises';
import { join, relative, resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { wordsOf } from '../diagnostics/system-words.ts';
import { digestFile } from '../host/digest-file.ts';
import type { Host } from '../host/host.ts';
import { recordFiles } from '../record/record-files.ts';
import { verifyRecord } from '../record/verify-record.ts';
import { commandCodes } from './codes.ts';
import type { CommandResult } from './command.ts';
import type { VerifyOptions } from './options.ts';

export interface VerifyValue {
  readonly folder: string;
  readonly verified: readonly string[];
}

/** `quern verify`: checks the artefacts of a build against its record. */
export async function verify({ folder }: VerifyOptions, host: Host): Promise<CommandResult<VerifyValue>> {
  const root = resolve(host.cwd, folder);
  const names = await listFiles(root).catch((error: NodeJS.ErrnoException) => {
    throw new Failure(
      commandCodes.report('command/no-record', {
        message: `${quoted(folder)} cannot be read: ${wordsOf(error)}`,
        help: 'Name the folder that quern build has made.',
      }),
      { cause: error },
    );
  });
  const read = async (name: string): Promise<string | undefined> =>
    names.includes(name) ? readFile(join(root, name), 'utf8') : undefined;
  const checksums = await read(recordFiles.checksums);
  const provenance = await read(recordFiles.provenance);
  const files = new Map<string, string>();
  // without a record there is nothing to hold the files against, and they may be many
  for (const name of checksums === undefined && provenance === undefined ? [] : names) {
    host.signal.throwIfAborted();
    files.set(name, await digestFile(join(root, name)));
  }
  const { value, diagnostics } = verifyRecord({
    ...(checksums !== undefined && { checksums }),
    ...(provenance !== undefined && { provenance }),
    files,
  });
  const exit = exitOf(diagnostics);
  const ok = value.verified.map((name) => `  ${name}`);
  return {
    exit,
    diagnostics,
    value: { folder, verified: value.verified },
    text: exit === exitCodes.ok ? [`${ok.length} artefacts are what the record says`, ...ok].join('\n') : '',
  };
}

/** Paths of all regular files below a folder, relative to it. Links are not followed: a record has none. */
async function listFiles(root: string): Promise<readonly string[]> {
  const entries = await readdir(root, { withFileTypes: true, recursive: true });
  return entries
    .filter((entry) => entry.isFile())
    .map((entry) => relative(root, join(entry.parentPath, entry.name)))
    .sort();
}
