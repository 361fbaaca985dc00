import { readFile } from 'node:fs/promises';
import { release } from 'node:os';
import { resolve } from 'node:path';

import { Failure } from '../diagnostics/catalogue.ts';
import { quoted } from '../diagnostics/printable.ts';
import { wordsOf } from '../diagnostics/system-words.ts';
import type { Host } from '../host/host.ts';
import { decodeLatin1 } from '../kconfig/latin1.ts';
import { unpackedFile } from '../source/unpacked-file.ts';
import { commandCodes } from './codes.ts';

/** Packed or unpacked: nothing that a person writes as a fragment, a configuration or a patch comes near this. Bytes. */
export const largestFile: number = 64 * 1024 * 1024;

/** A configuration that somebody has. */
export interface GivenConfig {
  /** Where it is from, as a person would say it. */
  readonly origin: string;
  /** In latin1. */
  readonly text: string;
}

/**
 * @param path of a `.config`, which may be compressed
 * @throws Failure `command/no-base`
 */
export async function readGivenConfig(host: Host, path: string): Promise<GivenConfig> {
  try {
    const content = await unpackedFile(await readFile(resolve(host.cwd, path)), largestFile);
    return { origin: path, text: decodeLatin1(content) };
  } catch (error) {
    throw new Failure(
      commandCodes.report('command/no-base', {
        message: `the configuration ${quoted(path)} cannot be read: ${wordsOf(error)}`,
        help: 'Name a .config file: as it is, or compressed with gzip or xz.',
      }),
      { cause: error },
    );
  }
}

/**
 * The configuration of the kernel that runs on this machine, from the first place that has it. The kernel keeps it itself
 * with IKCONFIG_PROC (init/Kconfig); the others are where installers put it, by common practice.
 *
 * @param root where the machine's files are
 * @throws Failure `command/no-running-config`
 */
export async function runningConfig(root: string): Promise<GivenConfig> {
  const places = ['/proc/config.gz', `/boot/config-${release()}`, `/lib/modules/${release()}/config`];
  for (const place of places) {
    const content = await readFile(`${root}${place}`)
      .then((bytes) => unpackedFile(bytes, largestFile))
      .catch(() => undefined);
    if (content === undefined) continue;
    return { origin: `${place} of a machine that ran Linux ${release()}`, text: decodeLatin1(content) };
  }
  throw new Failure(
    commandCodes.report('command/no-running-config', {
      message: `this machine does not tell how its kernel, ${release()}, is configured`,
      notes: places.map((place) => `${place}: not there, or not to be read`),
      help: 'Name a configuration with --config FILE, or begin with --base defconfig.',
    }),
  );
}
