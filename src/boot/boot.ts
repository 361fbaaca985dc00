import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { Failure } from '../diagnostics/catalogue.ts';
import type { Diagnostic } from '../diagnostics/diagnostic.ts';
import { quoted } from '../diagnostics/printable.ts';
import {
  architectureFacts,
  architectures,
  bootedArchitectures,
  type Architecture,
  type ArchitectureFacts,
} from '../environment/architectures.ts';
import { digestFile } from '../host/digest-file.ts';
import type { Host } from '../host/host.ts';
import { writeWhole } from '../host/output-folder.ts';
import { readStatement, type ReadStatement } from '../record/read-statement.ts';
import { artefactFiles } from '../kit/artefacts.ts';
import { recordFiles } from '../record/record-files.ts';
import { bootableImage } from './boot-image.ts';
import { readBusybox } from './busybox.ts';
import { bootCodes } from './codes.ts';
import { missingOptions } from './console-options.ts';
import { buildInitramfs } from './initramfs.ts';
import { judgeBoot, nameOf, type Expected } from './judge-boot.ts';
import { readModules, type ModulesReading } from './module-archive.ts';
import { chooseAccelerator, qemuVersion, runEmulator, type Accelerator } from './qemu.ts';
import { readConsole, type BootVerdict } from './read-console.ts';

export interface BootOptions {
  /** The folder that a build wrote. */
  readonly folder: string;
  /** How long the kernel may take; 120 when absent. */
  readonly timeoutSeconds?: number;
  /** A statically linked busybox; looked for when absent. */
  readonly busybox?: string;
  /** Names of modules to load, with what they depend on; all of them, if they are few, when absent. */
  readonly modules?: readonly string[];
}

/** What is written to `boot.json` beside the console's `boot.log`. */
export interface BootProof {
  readonly boot: 1;
  readonly verdict: BootVerdict['kind'];
  /** The panic, or the last line of a kernel that hung or restarted. */
  readonly line?: string;
  /** What the booted kernel said of itself. */
  readonly release?: string;
  readonly versionString?: string;
  readonly config?: 'same' | 'differs' | 'not embedded';
  readonly modules: readonly { readonly name: string; readonly loaded: boolean; readonly said?: string }[];
  readonly emulator: string;
  readonly accelerator: Accelerator;
  /** Seconds from the start of the emulator to its end. */
  readonly seconds: number;
}

const defaultSeconds = 120;

/**
 * Boots the kernel of a build's folder in an emulator, with a tiny initial file system made on the spot, and holds
 * what it says of itself against the record. The console is kept as `boot.log`, the result as `boot.json`, in that
 * folder. An error among the diagnostics means that the kernel does not boot, or is not the recorded one.
 *
 * @throws Failure when there is nothing to boot, or nothing to boot it with
 * @throws the reason of `host.signal` when that is aborted; nothing is left running then, and nothing written
 */
export async function bootRecord(
  host: Host,
  options: BootOptions,
): Promise<{ readonly value: BootProof; readonly diagnostics: readonly Diagnostic[] }> {
  const folder = resolve(host.cwd, options.folder);
  const seconds = options.timeoutSeconds ?? defaultSeconds;
  host.progress.stage('preparing the boot');
  const { statement, image, arch } = await readRecord(folder);
  const { emulator: machine, code } = bootFacts(arch);
  const emulator = await qemuVersion(host, machine);
  const busybox = await readBusybox(host, code, options.busybox && resolve(host.cwd, options.busybox));
  const kernel = bootableImage(await readImage(join(folder, image.name)), machine);
  await assertUnaltered(
    folder,
    [image.name, artefactFiles.config, artefactFiles.modules],
    statement,
    host.signal,
  );
  const modules = await chooseModules(folder, statement, options.modules, host.signal);
  const config = statement.subjects.has(artefactFiles.config)
    ? await readFile(join(folder, artefactFiles.config), 'latin1')
    : undefined;
  const initramfs = buildInitramfs({ busybox, modules: modules.value });

  host.progress.stage(`booting ${image.name}`);
  const began = host.now().getTime();
  const { accelerator, end, output } = await inScratchFolder(async (scratch) => {
    const files = {
      kernel: join(scratch, 'kernel'),
      initramfs: join(scratch, 'initramfs.cpio'),
      console: recordFiles.bootLog,
    };
    await writeFile(files.kernel, kernel);
    await writeFile(files.initramfs, initramfs);
    const memory = memoryFor(initramfs);
    return runEmulator(host, machine, await chooseAccelerator(machine), {
      memory,
      files,
      folder: scratch,
      seconds,
    });
  });
  const took = Math.round((host.now().getTime() - began) / 100) / 10;

  const reading = readConsole(output, end);
  const configDigest = statement.subjects.get(artefactFiles.config);
  const expected: Expected = {
    release: image.release,
    versionString: image.versionString,
    ...(configDigest !== undefined && { config: configDigest }),
    modules: modules.value.map(({ name }) => name),
  };
  const missing = config === undefined ? [] : missingOptions(config, machine);
  const diagnostics = [...judgeBoot(reading, { expected, missing, seconds }), ...modules.diagnostics];
  const value = describe(reading.verdict, expected, { emulator, accelerator, seconds: took });
  await writeWhole(join(folder, recordFiles.bootLog), Buffer.from(output.replaceAll('\r', ''), 'latin1'));
  await writeWhole(join(folder, recordFiles.bootResult), `${JSON.stringify(value, undefined, 2)}\n`);
  return { value, diagnostics };
}

/**
 * Looks for what booting needs, before an hour is spent on what is to be booted.
 *
 * @throws Failure `boot/architecture`, `host/program-missing`, `boot/no-busybox`, `boot/busybox-unfit`
 */
export async function assertCanBoot(host: Host, arch: Architecture, busybox?: string): Promise<void> {
  const { emulator, code } = bootFacts(arch);
  await qemuVersion(host, emulator);
  await readBusybox(host, code, busybox);
}

/** @throws Failure `boot/architecture` */
function bootFacts(arch: string): NonNullable<ArchitectureFacts['boot']> {
  const known = architectures.find((one) => one === arch);
  const facts = known && architectureFacts(known).boot;
  if (facts) return facts;
  throw new Failure(
    bootCodes.report('boot/architecture', {
      message: `the kernel was built for ${quoted(arch)}, which is not booted here`,
      notes: [`Booted are: ${bootedArchitectures.join(', ')}.`],
    }),
  );
}

interface BootableRecord {
  readonly statement: ReadStatement;
  readonly image: NonNullable<ReadStatement['image']>;
  readonly arch: string;
}

async function readRecord(folder: string): Promise<BootableRecord> {
  const text = await readFile(join(folder, recordFiles.provenance), 'utf8').catch((error: unknown) => {
    throw noRecord(`${quoted(folder)} has no ${recordFiles.provenance}`, error);
  });
  const { value: statement, diagnostics } = readStatement(text, recordFiles.provenance);
  if (!statement) throw new Failure(diagnostics);
  if (!statement.image) {
    const message = `${recordFiles.provenance} does not say which of its subjects is the kernel image`;
    throw new Failure(bootCodes.report('boot/image-unknown', { message }));
  }
  return { statement, image: statement.image, arch: String(statement.externalParameters['arch']) };
}

function noRecord(message: string, cause: unknown): Failure {
  const help = 'Name the folder that `quern build` wrote its output to.';
  return new Failure(bootCodes.report('boot/no-record', { message, help }), { cause });
}

async function readImage(kernel: string): Promise<Uint8Array> {
  return readFile(kernel).catch((error: unknown) => {
    throw noRecord(`the kernel image ${quoted(kernel)} cannot be read`, error);
  });
}

async function assertUnaltered(
  folder: string,
  names: readonly string[],
  { subjects }: ReadStatement,
  signal: AbortSignal,
): Promise<void> {
  const altered: Diagnostic[] = [];
  for (const name of names) {
    const recorded = subjects.get(name);
    if (recorded === undefined) continue;
    const found = await digestFile(join(folder, name)).catch(() => undefined);
    signal.throwIfAborted();
    if (found === recorded) continue;
    altered.push(
      bootCodes.report('boot/altered', {
        message: `${quoted(name)} is not the file that was built: ${found === undefined ? 'it is not there' : 'its SHA-256 differs'}`,
        notes: [`recorded: ${recorded}`, ...(found === undefined ? [] : [`found:    ${found}`])],
        help: 'Copy it again from where it was built, or build again.',
      }),
    );
  }
  if (altered.length > 0) throw new Failure(altered);
}

async function chooseModules(
  folder: string,
  { subjects }: ReadStatement,
  wanted: readonly string[] | undefined,
  signal: AbortSignal,
): Promise<ModulesReading> {
  if (subjects.has(artefactFiles.modules))
    return readModules(join(folder, artefactFiles.modules), wanted, signal);
  if (!wanted || wanted.length === 0) return { value: [], diagnostics: [] };
  throw new Failure(
    bootCodes.report('boot/no-modules', {
      message: `no module can be loaded: the build left no ${artefactFiles.modules}`,
      help: 'Add `modules` to the outputs of the spec, or leave --module out.',
    }),
  );
}

const mebibyte = 1024 * 1024;

/** MiB of the emulated machine: room for the kernel, and the initial file system packed, unpacked and loaded. */
function memoryFor(initramfs: Uint8Array): number {
  return 512 + 3 * Math.ceil(initramfs.length / mebibyte);
}

async function inScratchFolder<Result>(work: (folder: string) => Promise<Result>): Promise<Result> {
  const folder = await mkdtemp(join(tmpdir(), 'quern-boot-'));
  try {
    return await work(folder);
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

function describe(
  verdict: BootVerdict,
  expected: Expected,
  run: Pick<BootProof, 'emulator' | 'accelerator' | 'seconds'>,
): BootProof {
  const report = verdict.kind === 'booted' ? verdict.report : undefined;
  const line = verdict.kind === 'panic' ? verdict.line : 'last' in verdict ? verdict.last : undefined;
  return {
    boot: 1,
    verdict: verdict.kind,
    ...(line !== undefined && { line }),
    ...(report && {
      release: report.release,
      versionString: report.version,
      config: configState(report, expected),
    }),
    modules: (report?.modules ?? []).map(({ file, loaded, said }) => ({
      name: nameOf(file, expected),
      loaded,
      ...(said !== '' && { said }),
    })),
    ...run,
  };
}

function configState(
  report: { readonly config?: string },
  expected: Expected,
): NonNullable<BootProof['config']> {
  if (report.config === undefined) return 'not embedded';
  return report.config === expected.config ? 'same' : 'differs';
}
