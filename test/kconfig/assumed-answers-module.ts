import type { AssumedEnvironment } from '../../src/kconfig/assumed-answers-data.ts';

const byCommand = ([a]: readonly [string, string], [b]: readonly [string, string]): number =>
  a < b ? -1 : 1;

/**
 * The text of src/kconfig/assumed-answers-data.ts.
 *
 * @param found series to what was asked and answered
 */
export function assumedAnswersModule(
  environment: AssumedEnvironment,
  found: ReadonlyMap<string, ReadonlyMap<string, string>>,
): string {
  const all = new Map([...found.values()].flatMap((answers) => [...answers]));
  const differs = (command: string): boolean =>
    [...found.values()].some((answers) => (answers.get(command) ?? all.get(command)) !== all.get(command));
  const common = Object.fromEntries([...all].filter(([command]) => !differs(command)).sort(byCommand));
  const bySeries = Object.fromEntries(
    [...found].map(([series, answers]) => [
      series,
      Object.fromEntries([...answers].filter(([command]) => differs(command)).sort(byCommand)),
    ]),
  );
  return `/**
 * What the default environment answers to the questions of some kernels.
 *
 * Written by test/kconfig/assumed-answers.slow.test.ts out of a run in that environment: do not edit.
 */

export interface AssumedEnvironment {
  readonly debian: string;
  readonly arch: string;
  /** Versions whose questions these were. */
  readonly kernels: readonly string[];
  /** Package to the version that answered. */
  readonly packages: Readonly<Record<string, string>>;
}

export const assumedEnvironment: AssumedEnvironment = ${JSON.stringify(environment)};

/** Command line, run in the tree, to what it prints in every tree. */
export const commonAnswers: Readonly<Record<string, string>> = ${JSON.stringify(common)};

/** Series to the answers that are others in other trees: their scripts have changed. */
export const answersBySeries: Readonly<Record<string, Readonly<Record<string, string>>>> = ${JSON.stringify(bySeries)};
`;
}
