/** Bases that are neither a target of the tree nor simply a file beside the spec: out of a package, or of this machine. */
import { basename, dirname, join } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { exists, writeWhole } from '../host/output-folder.ts';
import { isPackaged, type Inputs, type PackagedConfigPin } from '../spec/lock.ts';
import { commandCodes } from './codes.ts';
import type { OpenSpec } from './open-spec.ts';
import { changedFiles } from './pinned-files.ts';
import { besideSpec, resolveInside } from './resolve-inside.ts';
import type { LocalBase, LocalFiles } from './spec-files.ts';

/**
 * The files of a spec, and among them the base that is pinned out of a package.
 *
 * @throws Failure what `readDebianConfig` throws
 */
export async function withBase(
  host: Host,
  { place }: Pick<OpenSpec, 'place'>,
  files: LocalFiles,
  { origins, base }: Pick<Inputs, 'origins' | 'base'>,
): Promise<LocalFiles> {
  if (!base || !isPackaged(base)) return files;
  // loaded only here, with all that fetches
  const { readDebianConfig } = await import('../source/debian-config.ts');
  const content = await readDebianConfig(host, origins, base);
  const name = packagedName(base);
  return {
    ...files,
    base: { name, path: name, sha256: base.content, content, span: place(['config', 'base']) },
  };
}

/** A configuration out of a package, as messages and records call it. */
export function packagedName({
  package: name,
  config,
}: Pick<PackagedConfigPin, 'package' | 'config'>): string {
  return `${name}/config.${config}`;
}

/** What is to be said of a base that was taken from this machine and is not kept yet. */
export function takenBase({ base }: LocalFiles): readonly Diagnostic[] {
  if (base?.taken === undefined) return [];
  return [
    runningNote(
      base,
      base.taken,
      `\`quern pin\` keeps it in ${base.name}, for other machines and other days.`,
    ),
  ];
}

/**
 * Keeps the configuration of this machine beside the spec, where it is the base and was not kept before.
 *
 * @param earlier inputs of a lock that was made before: another configuration does not take the place of that one
 * @throws Failure `command/file-changed`
 */
export async function keepBase(
  host: Host,
  { folder, path, sources }: OpenSpec,
  files: LocalFiles,
  earlier: Inputs | undefined,
): Promise<readonly Diagnostic[]> {
  const { base } = files;
  if (base?.taken === undefined) return [];
  const changed = earlier ? changedFiles({ base, fragments: [], patches: [] }, earlier) : [];
  if (changed.length > 0) {
    throw new Failure(
      changed.map((one) => ({
        ...one,
        message: `${quoted(base.name)} is missing, and the configuration of this machine is not the one that was pinned`,
        help: 'Bring the file that belongs to the lock; to begin with this machine instead: quern pin --refresh all.',
      })),
      { sources },
    );
  }
  const home = await resolveInside(host, folder, dirname(base.path), 'folder');
  const target = join(home, basename(base.path));
  if (!(await exists(target))) await writeWhole(target, base.content);
  return [
    runningNote(
      base,
      base.taken,
      `It is kept in ${besideSpec(path, base.path)}: keep that with the spec, under version control.`,
    ),
  ];
}

function runningNote({ span }: LocalBase, taken: string, help: string): Diagnostic {
  return commandCodes.report('command/running-config', {
    message: `the configuration begins with ${taken}`,
    span,
    help,
  });
}
