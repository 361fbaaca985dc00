import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { exitOf } from '../diagnostics/diagnostic.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import type { Need } from '../environment/need.ts';
import { digestOf } from '../host/digest-file.ts';
import type { Host } from '../host/host.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { renderKit, type Files } from '../kit/kit.ts';
import type { KitPatches } from '../kit/patches.ts';
import { assertLocalSource } from '../source/fetch-inputs.ts';
import { compareWithLock } from '../spec/compare-lock.ts';
import type { Answers, Lock } from '../spec/lock.ts';
import { formatLock } from '../spec/write-lock.ts';
import { commandCodes } from './codes.ts';
import { readKitTemplates } from './kit-templates.ts';
import { openLock, type OpenSpec } from './open-spec.ts';
import type { KitOptions, PinOptions } from './options.ts';
import { pinSpec } from './pin.ts';
import { assertPinned } from './pinned-files.ts';
import { resolveConfig } from './resolve-config.ts';
import { missingNeeds } from './settle-environment.ts';
import { locateFor, lockPath, readSpecFiles, type LocalFiles } from './spec-files.ts';

/** A spec with all that a kit is made of. */
export interface PreparedKit {
  readonly lock: Lock & { readonly answers: Answers };
  readonly lockPath: string;
  /** SHA-256 of the lock as it was read or written, whatever becomes of the file meanwhile. */
  readonly lockSha256: string;
  readonly files: LocalFiles;
  readonly patches: KitPatches;
  readonly config: Uint8Array;
  readonly kit: Files;
  readonly verdicts: readonly Verdict[];
  readonly diagnostics: readonly Diagnostic[];
  /** The texts that they point into. */
  readonly sources: ReadonlyMap<string, string>;
}

/**
 * Checks the spec against its lock, pins what was never pinned, and renders the kit.
 *
 * @throws Failure when the spec no longer matches its lock, when a file that it names has changed, when a request is
 *   not kept, or when something needed is missing
 */
export async function prepareKit(
  opened: OpenSpec,
  options: Pick<KitOptions, 'lock' | 'engine'>,
  host: Host,
): Promise<PreparedKit> {
  const { spec, sources } = opened;
  const path = options.lock ?? lockPath(opened.path);
  const open = await openLock(host, path);
  const existing = open?.lock;
  if (existing) {
    const differences = compareWithLock(spec, existing, opened.place);
    if (differences.length > 0) throw new Failure(differences, { sources });
  }
  const whole = open && existing?.answers ? open : undefined;
  const done = existing?.answers
    ? await fromLock(opened, { ...existing, answers: existing.answers }, options, host)
    : await pinOnTheWay(opened, { ...options, spec: opened.path, lock: path }, host);
  if (exitOf(done.diagnostics) !== 0) throw new Failure(done.diagnostics, { sources: done.sources });
  const { lock, patches, config } = done;
  const kit = renderKit(spec, lock, config, patches, await readKitTemplates());
  const lockSha256 = whole?.sha256 ?? digestOf(formatLock(lock));
  return { ...done, lockPath: path, lockSha256, kit };
}

type Done = Pick<
  PreparedKit,
  'lock' | 'files' | 'patches' | 'config' | 'verdicts' | 'diagnostics' | 'sources'
>;

async function fromLock(
  opened: OpenSpec,
  lock: PreparedKit['lock'],
  { engine }: Pick<KitOptions, 'engine'>,
  host: Host,
): Promise<Done> {
  const files = await readSpecFiles(host, opened);
  assertPinned(files, lock.inputs, opened.sources);
  await assertLocalSource(host, lock.inputs, locateFor(host, opened), { epoch: opened.spec.build.epoch });
  const resolved = await resolveConfig(host, opened, files, { ...lock, engine });
  assertPackages(missingNeeds(opened.spec, resolved, lock.inputs));
  const { patches, config, verdicts, asked, diagnostics } = resolved;
  return { lock, files, patches, config, verdicts, diagnostics, sources: asked.sources };
}

/** @throws Failure `command/package-missing`: the build would stop where it is needed, which may be at its end */
function assertPackages(missing: readonly Need[]): void {
  if (missing.length === 0) return;
  throw new Failure(
    missing.map((need) =>
      commandCodes.report('command/package-missing', {
        message: `the environment of the lock lacks ${need.package}, and the configuration takes it`,
        notes: [`It is for ${need.because}.`],
        help: 'Pin the packages again: quern pin --refresh packages.',
      }),
    ),
  );
}

async function pinOnTheWay(
  opened: OpenSpec,
  options: PinOptions & { readonly lock: string },
  host: Host,
): Promise<Done> {
  const { diagnostics, value } = await pinSpec(opened, options, host);
  const { lock, files, patches, config, summary, sources } = value;
  const note = commandCodes.report('command/pinned-afresh', {
    message: `the spec had no complete lock: it was pinned in ${options.lock}`,
    help: 'Keep the lock beside the spec, under version control: it is what makes the next build the same.',
  });
  return {
    lock,
    files,
    patches,
    config,
    verdicts: summary.verdicts,
    diagnostics: [note, ...diagnostics],
    sources,
  };
}
