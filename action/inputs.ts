import { getInput } from '@actions/core';

import { engines, type Engine } from '../src/commands/options.ts';
import { Failure } from '../src/diagnostics/catalogue.ts';
import type { Diagnostic } from '../src/diagnostics/diagnostic.ts';
import { nearest } from '../src/diagnostics/nearest.ts';
import { printable, quoted } from '../src/diagnostics/printable.ts';
import { actionCodes, type ActionCode } from './codes.ts';

export const jobs = ['check', 'build', 'boot'] as const;
export type Job = (typeof jobs)[number];

/** What a step of a workflow asks for. */
export interface Inputs {
  readonly spec: string;
  readonly lock?: string;
  /** `boot` builds first. */
  readonly job: Job;
  readonly output: string;
  /** The first that answers when absent. */
  readonly engine?: Engine;
  /** Compilers at once; as many as there are processors when absent. */
  readonly compilers?: number;
  /** Name of the artifact; nothing is uploaded when absent. */
  readonly artifact?: string;
  /** What the repository has set when absent. */
  readonly retentionDays?: number;
}

/** As in action.yml, in that order. */
export const inputNames = [
  'spec',
  'job',
  'output',
  'lock',
  'engine',
  'jobs',
  'artifact',
  'retention-days',
] as const;
type InputName = (typeof inputNames)[number];

/** What the artifact service refuses in names (actions/toolkit, packages/artifact, name validation). */
const notInNames = /[":<>|*?\\/\p{C}\p{Zl}\p{Zp}]/u;
const longestName = 200;

/**
 * Reads the inputs, as the runner puts them into the environment.
 *
 * @throws Failure with all that is wrong with them
 */
export function readInputs(env: Readonly<Record<string, string | undefined>>): Inputs {
  const wrong: Diagnostic[] = [...hostProbing(env), ...unknownInputs(env)];
  const note = (code: ActionCode, message: string, help: string): undefined => {
    wrong.push(actionCodes.report(code, { message, help }));
  };
  const refuse = (name: InputName, value: string, help: string): undefined =>
    note('action/bad-input', `the input \`${name}\` does not take ${quoted(value)}`, help);

  const text = (name: InputName): string | undefined => {
    const value = getInput(name);
    return value === '' ? undefined : value;
  };
  const path = (name: InputName): string | undefined => {
    const value = text(name);
    if (value === undefined || printable(value) === value) return value;
    return refuse(name, value, 'Name a path on one line, of printable characters.');
  };
  const number = (name: InputName, most: number): number | undefined => {
    const value = text(name);
    if (value === undefined) return undefined;
    const read = /^[0-9]{1,9}$/u.test(value) ? Number(value) : 0;
    return read >= 1 && read <= most
      ? read
      : refuse(name, value, `It takes a whole number from 1 to ${most}.`);
  };
  const choice = <Choice extends string>(name: InputName, choices: readonly Choice[]): Choice | undefined => {
    const value = text(name);
    if (value === undefined) return undefined;
    const near = nearest(value, choices);
    const list = choices.map((one) => `\`${one}\``).join(', ');
    const help = near === undefined ? `It takes one of ${list}.` : `Did you mean \`${near}\`?`;
    return choices.find((one) => one === value) ?? refuse(name, value, help);
  };
  const artifactName = (): string | undefined => {
    const value = text('artifact');
    if (value === undefined || (!notInNames.test(value) && value.length <= longestName)) return value;
    return refuse(
      'artifact',
      value,
      'A name has at most 200 characters, and none of " : < > | * ? \\ / among them.',
    );
  };

  const spec = path('spec');
  if (spec === undefined && text('spec') === undefined) {
    note(
      'action/missing-input',
      'the input `spec` is missing',
      'Name the spec: `with: { spec: kernel.yaml }`.',
    );
  }
  const lock = path('lock');
  const compilers = number('jobs', 1024);
  const engine = choice('engine', engines);
  const artifact = artifactName();
  const retentionDays = number('retention-days', 90);
  const read: Inputs = {
    spec: spec ?? '',
    ...(lock !== undefined && { lock }),
    job: choice('job', jobs) ?? 'check',
    output: path('output') ?? 'kernel',
    ...(engine !== undefined && { engine }),
    ...(compilers !== undefined && { compilers }),
    ...(artifact !== undefined && { artifact }),
    ...(retentionDays !== undefined && { retentionDays }),
  };
  if (wrong.length > 0) throw new Failure(wrong);
  return read;
}

/** The runner warns of inputs that are not in action.yml, and hands them on all the same. */
function unknownInputs(env: Readonly<Record<string, string | undefined>>): Diagnostic[] {
  const given = Object.keys(env)
    .filter((name) => name.startsWith('INPUT_') && !isHostProbing(name))
    .map((name) => name.slice('INPUT_'.length).toLowerCase());
  const known: readonly string[] = inputNames;
  return given
    .filter((name) => !known.includes(name))
    .map((name) => {
      const near = nearest(name, inputNames);
      return actionCodes.report('action/unknown-input', {
        message: `there is no input ${quoted(name)}`,
        help: near === undefined ? `There are ${inputNames.join(', ')}.` : `Did you mean \`${near}\`?`,
      });
    });
}

function isHostProbing(name: string): boolean {
  return /^(?:INPUT|QUERN)_(?:PROBE[-_ ]?HOST|HOST[-_ ]?PROB(?:E|ES|ING))$/iu.test(name);
}

/** A spec and its source may come from a stranger's pull request: nothing of the tree runs on the runner itself. */
function hostProbing(env: Readonly<Record<string, string | undefined>>): Diagnostic[] {
  return Object.entries(env)
    .filter(([name, value]) => isHostProbing(name) && (value ?? '') !== '')
    .map(([name]) =>
      actionCodes.report('action/host-probing', {
        message: `${quoted(name)} asks to run programs of the source tree on the runner, which this Action refuses`,
        notes: ['The spec, and the source that it names, may come from a stranger.'],
        help: 'Leave it out: the questions are put inside the build environment, without network.',
      }),
    );
}
