import { readFile } from 'node:fs/promises';
import { dirname, resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { exitOf, type Diagnostic, type Span } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import { wordsOf } from '../diagnostics/system-words.ts';
import { digestOf } from '../host/digest-file.ts';
import type { Host } from '../host/host.ts';
import type { Lock } from '../spec/lock.ts';
import { readLock } from '../spec/read-lock.ts';
import { readSpec } from '../spec/read-spec.ts';
import type { Spec } from '../spec/spec.ts';
import type { YamlPath } from '../spec/yaml-tree.ts';
import { commandCodes } from './codes.ts';
import { lendKept } from './kept-folder.ts';

/** A file that was read, with the text that diagnostics point into. */
interface OpenFile {
  /** As the person named it. */
  readonly path: string;
  readonly sha256: string;
}

export interface OpenSpec extends OpenFile {
  readonly spec: Spec;
  /** Absolute. */
  readonly folder: string;
  readonly sources: ReadonlyMap<string, string>;
  /** Where in the text a value stands: `['config', 'set', 'CRC7']`. */
  readonly place: (path: YamlPath) => Span | undefined;
  readonly diagnostics: readonly Diagnostic[];
}

export interface OpenLock extends OpenFile {
  readonly lock: Lock;
}

/**
 * Reads a spec. Where it lies in a kept folder, the store takes what is in there from there.
 *
 * @param path as on the command line
 * @throws Failure `command/no-spec`, or with all that is wrong in the spec; what `lendKept` throws
 */
export async function openSpec(host: Host, path: string): Promise<OpenSpec> {
  const content = await readFile(resolve(host.cwd, path)).catch((error: NodeJS.ErrnoException) => {
    throw new Failure(
      commandCodes.report('command/no-spec', {
        message: `the spec ${quoted(path)} cannot be read: ${wordsOf(error)}`,
        help: 'Name the YAML file that says which kernel you want; the README has an example.',
      }),
      { cause: error },
    );
  });
  const text = content.toString('utf8');
  const sources = new Map([[path, text]]);
  const { value, diagnostics, place } = readSpec(text, path);
  if (value === undefined || exitOf(diagnostics) !== 0) throw new Failure(diagnostics, { sources });
  await lendKept(host, path);
  const folder = dirname(resolve(host.cwd, path));
  return { path, sha256: digestOf(content), spec: value, folder, sources, place, diagnostics };
}

/**
 * Reads a lock; nothing when there is none.
 *
 * @param path as on the command line, or as `lockPath` names it
 * @throws Failure with all that is wrong in the lock
 */
export async function openLock(host: Host, path: string): Promise<OpenLock | undefined> {
  const content = await readFile(resolve(host.cwd, path)).catch((error: NodeJS.ErrnoException) => {
    if (error.code === 'ENOENT') return undefined;
    throw new Failure(
      commandCodes.report('command/no-spec', {
        message: `the lock ${quoted(path)} cannot be read: ${wordsOf(error)}`,
        help: 'See that it is a file that you may read.',
      }),
      { cause: error },
    );
  });
  if (content === undefined) return undefined;
  const text = content.toString('utf8');
  const { value, diagnostics } = readLock(text, path);
  if (value === undefined || exitOf(diagnostics) !== 0) {
    throw new Failure(diagnostics, { sources: new Map([[path, text]]) });
  }
  return { path, sha256: digestOf(content), lock: value };
}
