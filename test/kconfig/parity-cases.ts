/** What the kernel's own program and our engine are asked, on a whole tree. */
import { existsSync, readFileSync, readdirSync } from 'node:fs';
import path from 'node:path';

import { compose } from '../../src/kconfig/compose.ts';
import { configure } from '../../src/kconfig/configure.ts';
import { readConfigLine, readDotConfig } from '../../src/kconfig/dot-config.ts';
import type { Model } from '../../src/kconfig/model.ts';
import { judgeRequests } from '../../src/kconfig/verdict.ts';
import { debianConfigs } from '../oracle/debian-configs.ts';
import { differences, type ParityCase } from '../oracle/kconfig-parity.ts';
import type { KconfigProgram } from '../oracle/kconfig-program.ts';
import { overrideLines, withOverrides, type DefinedNames } from '../oracle/random-overrides.ts';
import { checkVerdict } from './check-verdict.ts';

/** A case that is worked out when its turn comes, since some of them begin with a run of the kernel's program. */
export type CaseMaker = () => Promise<ParityCase>;

const ready =
  (one: ParityCase): CaseMaker =>
  () =>
    Promise.resolve(one);

/** allnoconfig, allyesconfig, allmodconfig and alldefconfig, as they are and with what KCONFIG_ALLCONFIG names. */
export function allCases(names: DefinedNames, presets: readonly number[]): readonly CaseMaker[] {
  const modes = ['allnoconfig', 'allyesconfig', 'allmodconfig', 'alldefconfig'] as const;
  return modes.flatMap((mode) => [
    ready({ name: mode, mode }),
    ...presets.map((seed) =>
      ready({ name: `${mode} with preset ${seed}`, mode, text: withOverrides('', names, 200, seed) }),
    ),
  ]);
}

/** The defconfigs of the architecture, by their file names. */
export function defconfigCases(program: KconfigProgram, only?: readonly string[]): readonly CaseMaker[] {
  const folder = configsFolder(program);
  return readdirSync(folder)
    .filter((name) => name.endsWith('defconfig') && (only?.includes(name) ?? true))
    .sort()
    .map((name) => ready({ name, mode: 'defconfig', text: readFileSync(path.join(folder, name), 'latin1') }));
}

/** The file that `make defconfig` starts from, where it is a file and not put together by make. */
export function usualDefconfig(program: KconfigProgram): string | undefined {
  const name = program.environment['KBUILD_DEFCONFIG'] ?? 'defconfig';
  return existsSync(path.join(configsFolder(program), name)) ? name : undefined;
}

function configsFolder({ tree, environment }: KconfigProgram): string {
  return path.join(tree.folder, 'arch', environment['SRCARCH'] ?? '', 'configs');
}

/** What randconfig writes, with 50 overrides appended. */
export function randomCases(
  program: KconfigProgram,
  names: DefinedNames,
  seeds: readonly number[],
): readonly CaseMaker[] {
  return seeds.map((seed) => async () => {
    const { config } = await program.runForked({ mode: 'randconfig', seed });
    const text = withOverrides(config, names, 50, seed);
    return { name: `randconfig ${seed} with overrides`, mode: 'olddefconfig', text, saveText: true };
  });
}

/** Debian's own configurations, through olddefconfig. */
export async function debianCases(program: KconfigProgram): Promise<readonly CaseMaker[]> {
  const configs = await debianConfigs(program.arch);
  return configs.map(({ name, text }) => ready({ name: `Debian's ${name}`, mode: 'olddefconfig', text }));
}

/**
 * Verdicts on 50 requests, laid over what randconfig writes, against the values in the kernel's own result.
 * @returns what is wrong, and how many verdicts were looked at
 */
export async function compareVerdicts(
  program: KconfigProgram,
  model: Model,
  names: DefinedNames,
  seed: number,
): Promise<Compared> {
  const { config: text } = await program.runForked({ mode: 'randconfig', seed });
  const requests = overrideLines(text, names, 50, seed).flatMap((line, index) => {
    const read = readConfigLine(line);
    if (read.kind !== 'value') return [];
    return [{ option: read.option, value: read.value, origin: { file: 'requests.config', line: index + 1 } }];
  });
  const composed = compose({ file: '.config', text }, requests);
  const { config } = await program.runForked({ mode: 'olddefconfig', config: composed.text });
  const kernel = readDotConfig(config);
  const { evaluation } = configure(model, 'olddefconfig', composed.text);
  const verdicts = judgeRequests({ evaluation, requests, originOf: composed.originOf });
  const found = verdicts.flatMap((verdict) => {
    try {
      checkVerdict(evaluation, verdict, kernel.get(verdict.option));
      return [];
    } catch (error) {
      return [`requests of seed ${seed}: ${String(error)}`];
    }
  });
  return { cases: verdicts.length, differences: found };
}

export interface Compared {
  readonly cases: number;
  readonly differences: readonly string[];
}

/** Asks both, a few cases at once, since the kernel's program is another process. */
export async function compareAll(
  makers: readonly CaseMaker[],
  program: KconfigProgram,
  model: Model,
): Promise<Compared> {
  const found: string[] = [];
  const rest = [...makers];
  const work = async (): Promise<void> => {
    for (let make = rest.shift(); make; make = rest.shift()) {
      found.push(...(await differences(await make(), program.runForked, model)));
    }
  };
  await Promise.all([work(), work(), work()]);
  return { cases: makers.length, differences: found };
}
