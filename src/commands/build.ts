import { randomUUID } from 'node:crypto';
import { availableParallelism, tmpdir } from 'node:os';
import { mkdtemp, readdir, readFile, rename, rm } from 'node:fs/promises';
import { join, resolve } from 'node:path';

import { findEngine, type Engine } from '../container/engine.ts';
import { readIsolation } from '../container/isolation.ts';
import { checkRoom } from '../container/preflight.ts';
import {
  enterBuildFolder,
  KitFailure,
  removeBuildFolder,
  runKit,
  type KitRun,
} from '../container/run-kit.ts';
import { Failure } from '../diagnostics/catalogue.ts';
import { exitCodes, exitOf, type Diagnostic } from '../diagnostics/diagnostic.ts';
import { shellTyped } from '../diagnostics/printable.ts';
import type { Host } from '../host/host.ts';
import { assertFree, exists, makeOutputFolder, writeFiles, type Ours } from '../host/output-folder.ts';
import type { Verdict } from '../kconfig/verdict.ts';
import { imageNames } from '../environment/architectures.ts';
import {
  artefactFiles,
  artefactNames,
  imageFile,
  isDebianPackage,
  moduleVermagic,
} from '../kit/artefacts.ts';
import { diskKilobytes } from '../kit/estimate.ts';
import { kernelBuildType } from '../record/identifiers.ts';
import { recordFiles } from '../record/record-files.ts';
import { fetchInputs } from '../source/fetch-inputs.ts';
import { BuildFailure } from './build-failure.ts';
import type { CommandResult } from './command.ts';
import { checkArtefacts, type Artefact } from './check-artefacts.ts';
import { keepCompiledFiles, readCompiledFiles } from './compiled-files.ts';
import { layInputs } from './inputs-folder.ts';
import { locateFor } from './spec-files.ts';
import { openSpec, type OpenSpec } from './open-spec.ts';
import type { BuildOptions } from './options.ts';
import { prepareKit, type PreparedKit } from './prepare-kit.ts';
import { writeRecord } from './write-record.ts';

export interface BuildValue {
  readonly name: string;
  readonly folder: string;
  readonly kernelRelease: string;
  readonly versionString: string;
  /** What its modules say they are for; absent where there are none. The hash of a drawn seed is not part of it. */
  readonly vermagic?: string;
  readonly artefacts: readonly Artefact[];
  /** Which of the artefacts is the kernel image. */
  readonly image: string;
  readonly verdicts: readonly Verdict[];
}

const known: ReadonlySet<string> = new Set([
  ...imageNames,
  ...Object.values(artefactFiles),
  ...Object.values(recordFiles),
]);
const isKnown = (name: string): boolean => known.has(name) || isDebianPackage(name);
const earlierBuild: Ours = {
  mark: recordFiles.provenance,
  says: kernelBuildType,
  owns: isKnown,
};
const failedBuild: Ours = {
  mark: recordFiles.failure,
  says: 'does not build',
  owns: isKnown,
};

/** `quern build`: runs the kit and leaves artefacts and record. */
export async function build(options: BuildOptions, host: Host): Promise<CommandResult<BuildValue>> {
  const folder = resolve(host.cwd, options.output);
  const opened = await openSpec(host, options.spec);
  await assertFree(folder, earlierBuild);
  const prepared = await prepareKit(opened, options, host);
  const engine = await findEngine(host, options.engine);
  const jobs = options.jobs ?? availableParallelism();
  const room = await checkRoom(engine, diskKilobytes(latin1(prepared.config)), jobs);
  const { sources } = prepared;
  const diagnostics: readonly Diagnostic[] = [...opened.diagnostics, ...prepared.diagnostics, ...room];
  if (exitOf(room) !== exitCodes.ok) throw new Failure(diagnostics, { sources });

  const { answers } = prepared.lock;
  try {
    await fetchInputs(host, prepared.lock.inputs, locateFor(host, opened), {
      epoch: opened.spec.build.epoch,
    });
    let artefacts: readonly Artefact[] = [];
    await makeOutputFolder(folder, earlierBuild, async (aside) => {
      artefacts = await buildInto(aside, { options, opened, prepared, engine, jobs, folder }, host);
    });
    const { kernelRelease, versionString } = answers;
    const magic = moduleVermagic(opened.spec.arch, latin1(prepared.config), kernelRelease);
    const value: BuildValue = {
      name: opened.spec.name,
      folder: options.output,
      kernelRelease,
      versionString,
      ...(magic && { vermagic: magic.text }),
      artefacts,
      image: imageFile(opened.spec.arch, latin1(prepared.config)).name,
      verdicts: prepared.verdicts,
    };
    return { exit: exitOf(diagnostics), diagnostics, value, text: describeBuild(value), sources };
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    // what was only a warning before may be the very reason
    const all = [...diagnostics, ...error.diagnostics];
    if (error instanceof BuildFailure) throw new BuildFailure(all, error.folder, { cause: error, sources });
    throw new Failure(all, { cause: error, sources });
  }
}

interface Work {
  readonly options: BuildOptions;
  readonly opened: OpenSpec;
  readonly prepared: PreparedKit;
  readonly engine: Engine;
  readonly jobs: number;
  /** Where the output goes in the end. */
  readonly folder: string;
}

async function buildInto(aside: string, work: Work, host: Host): Promise<readonly Artefact[]> {
  const { prepared, engine, jobs, options } = work;
  const { inputs, answers } = prepared.lock;
  const scratch = await mkdtemp(join(tmpdir(), 'quern-build-'));
  try {
    const run: KitRun = {
      engine,
      folder: join(aside, recordFiles.kit),
      inputs: join(scratch, 'inputs'),
      out: join(aside, 'out'),
      jobs,
      expectedFiles: await readCompiledFiles(host, answers.config),
      keep: options.keepTree || options.shellOnFailure,
    };
    await writeFiles(run.folder, prepared.kit);
    await layInputs(host, inputs, run.inputs);
    const startedOn = host.now();
    await runSteps(run, work, host);
    const finishedOn = host.now();
    const isolation = readIsolation(await readFile(join(run.out, 'isolation'), 'utf8'));
    await rm(join(run.out, 'isolation'));
    for (const name of await readdir(run.out)) await rename(join(run.out, name), join(aside, name));
    await rm(run.out, { recursive: true });
    const names = artefactNames(work.opened.spec, latin1(prepared.config), answers.kernelRelease);
    const artefacts = await checkArtefacts(aside, names, answers, work.opened.spec);
    await writeRecord(aside, {
      opened: work.opened,
      prepared,
      artefacts,
      image: imageFile(work.opened.spec.arch, latin1(prepared.config)).name,
      engine,
      isolation: isolation.isolation,
      jobs: isolation.jobs,
      invocationId: randomUUID(),
      startedOn,
      finishedOn,
    });
    return artefacts;
  } finally {
    await rm(scratch, { recursive: true, force: true });
  }
}

/** The environment, then the build. What a failure leaves lies beside the output that there is not. */
async function runSteps(run: KitRun, work: Work, host: Host): Promise<void> {
  try {
    await runKit(host, 'environment', run);
    const { volume, files } = await runKit(host, 'build', run);
    await keepCompiledFiles(host, work.prepared.lock.answers.config, files);
    if (volume !== undefined) await leaveVolume(volume, run, work.options, host);
  } catch (error) {
    if (!(error instanceof KitFailure)) throw error;
    const kept = await keepFailure(error, run, work);
    if (error.volume !== undefined && work.options.shellOnFailure) {
      host.progress.line('a shell in the build folder, as the failure left it: leave it with "exit"');
      await enterBuildFolder(host, run, error.volume);
      await leaveVolume(error.volume, run, work.options, host);
    }
    const diagnostics = error.diagnostics.map((one) => ({
      ...one,
      notes: [...notesOf(one, run, work, kept), ...kept.notes],
    }));
    throw kept.folder === undefined
      ? new Failure(diagnostics, { cause: error })
      : new BuildFailure(diagnostics, kept.folder, { cause: error });
  }
}

interface Kept {
  /** Absent when it could not be made. */
  readonly folder?: string;
  /** Where the kit lies now. */
  readonly kit: string;
  readonly notes: readonly string[];
}

/** Puts the log and the kit of a failed build beside the output. That this fails as well must not hide the failure. */
async function keepFailure(failure: KitFailure, run: KitRun, { folder, prepared }: Work): Promise<Kept> {
  const target = `${folder}.failed`;
  const kit = join(target, recordFiles.kit);
  let hasLog = false;
  try {
    await makeOutputFolder(target, failedBuild, async (aside) => {
      await writeFiles(
        aside,
        new Map([
          [recordFiles.failure, new TextEncoder().encode(`This does not build.\n${failure.message}\n`)],
        ]),
      );
      await writeFiles(join(aside, recordFiles.kit), prepared.kit);
      const log = join(`${run.out}.failed`, recordFiles.buildLog);
      hasLog = await exists(log);
      if (hasLog) await rename(log, join(aside, recordFiles.buildLog));
    });
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    return { kit, notes: [`Its log is lost: ${error.message}`] };
  }
  return {
    folder: target,
    kit,
    notes: hasLog ? [`The whole log: ${join(target, recordFiles.buildLog)}`] : [],
  };
}

/** What the kit said, with the place where it lies now; of a build folder only while there is one. */
function notesOf({ notes }: Diagnostic, run: KitRun, { options }: Work, { kit }: Kept): readonly string[] {
  return notes
    .filter((note) => options.keepTree || !/ (?:shell|remove) quern-/u.test(note))
    .map((note) => note.replaceAll(run.folder, kit));
}

/** A kept build folder is told of, or, when it was kept for a shell alone, removed. */
async function leaveVolume(volume: string, run: KitRun, options: BuildOptions, host: Host): Promise<void> {
  if (!options.keepTree) return removeBuildFolder(host, run, volume);
  host.progress.line(`the build folder is kept in ${run.engine.name}: ${volume}`);
}

function latin1(bytes: Uint8Array): string {
  return Buffer.from(bytes).toString('latin1');
}

function describeBuild(value: BuildValue): string {
  return [
    `built ${value.kernelRelease} in ${value.folder}`,
    `  build stamp  ${value.versionString}`,
    ...(value.vermagic === undefined ? [] : [`  vermagic     ${value.vermagic.trimEnd()}`]),
    ...value.artefacts.map(({ name, sha256 }) => `  ${name.padEnd(14)} ${sha256}`),
    `  more in ${join(value.folder, recordFiles.summary)}; to see it boot: quern boot ${shellTyped(value.folder)}`,
  ].join('\n');
}
