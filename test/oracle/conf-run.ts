/** One run of the kernel's own conf in a folder of its own. */
import { spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { readFile, writeFile } from 'node:fs/promises';
import path from 'node:path';

export const confModes = [
  'olddefconfig',
  'alldefconfig',
  'allnoconfig',
  'allyesconfig',
  'allmodconfig',
  'randconfig',
  'defconfig',
  'savedefconfig',
  'listnewconfig',
] as const;
export type ConfMode = (typeof confModes)[number];

/** Texts are latin1: a character per byte. */
export interface ConfJob {
  readonly mode: ConfMode;
  /** The `.config` that is there before. */
  readonly config?: string;
  /** The file for --defconfig. */
  readonly defconfig?: string;
  /** The file for KCONFIG_ALLCONFIG. */
  readonly preset?: string;
  /** For randconfig. */
  readonly seed?: number;
  /** Further variables, such as KCONFIG_PROBABILITY. */
  readonly variables?: Readonly<Record<string, string>>;
}

export interface ConfResult {
  readonly status: number;
  /** What was written: the `.config`, or for savedefconfig the minimal one; empty where nothing was. */
  readonly config: string;
  readonly stdout: string;
  readonly stderr: string;
}

export interface ConfBinary {
  /** The path of conf. */
  readonly conf: string;
  /** For LD_PRELOAD: what kconfig-replay.c is compiled to. */
  readonly preload: string;
}

/** The name that a file for --defconfig has in the folder of a job. */
export const defconfigFile = './given-defconfig';
const savedFile = 'saved-defconfig';
const presetFile = 'preset.config';

export function confWords(mode: ConfMode): readonly string[] {
  const value = mode === 'defconfig' ? `=${defconfigFile}` : mode === 'savedefconfig' ? `=${savedFile}` : '';
  return ['-s', `--${mode}${value}`, 'Kconfig'];
}

/** Writes what a job needs into its folder; returns the variables that go with it. */
export async function layJob(job: ConfJob, folder: string): Promise<Readonly<Record<string, string>>> {
  const files = { '.config': job.config, [defconfigFile]: job.defconfig, [presetFile]: job.preset };
  for (const [name, text] of Object.entries(files)) {
    if (text !== undefined) await writeFile(path.join(folder, name), text, 'latin1');
  }
  return {
    // Named as the default is; a path that is there already keeps conf from writing what a build includes.
    KCONFIG_CONFIG: '.config',
    KCONFIG_AUTOCONFIG: '/dev/null',
    ...(job.preset === undefined ? {} : { KCONFIG_ALLCONFIG: presetFile }),
    ...(job.seed === undefined ? {} : { KCONFIG_SEED: String(job.seed) }),
    ...job.variables,
  };
}

export async function takeResult(job: ConfJob, folder: string): Promise<Pick<ConfResult, 'config'>> {
  const file = path.join(folder, job.mode === 'savedefconfig' ? savedFile : '.config');
  return { config: existsSync(file) ? await readFile(file, 'latin1') : '' };
}

export async function runConf(
  program: ConfBinary,
  job: ConfJob,
  folder: string,
  environment: Readonly<Record<string, string>>,
): Promise<ConfResult> {
  const env = { ...environment, ...(await layJob(job, folder)), LD_PRELOAD: program.preload };
  const child = spawn(program.conf, confWords(job.mode), {
    cwd: folder,
    env,
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  const printed = { stdout: '', stderr: '' };
  for (const name of ['stdout', 'stderr'] as const) {
    child[name].setEncoding('latin1').on('data', (text: string) => {
      printed[name] += text;
    });
  }
  const status = await new Promise<number>((resolve, reject) => {
    child.on('error', reject).on('close', (code) => resolve(code ?? 128));
  });
  return { status, ...(await takeResult(job, folder)), ...printed };
}
