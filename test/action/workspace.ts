import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { testCache } from '../setup/engine.ts';
import { entriesIn } from './runner.ts';

const files = ['OUTPUT', 'STATE', 'ENV', 'PATH', 'STEP_SUMMARY'] as const;

/** What a runner gives to one step: the checked-out repository, with the Otter Bank spec in it, and its own files. */
export interface StepFolder {
  readonly workspace: string;
  /** The environment of the step, without its inputs. */
  readonly env: Readonly<Record<string, string>>;
  path(...parts: string[]): string;
  outputs(): ReadonlyMap<string, string>;
  summary(): string;
  /** What was written where the Action has no business: environment, path and state. */
  strays(): string;
  remove(): void;
}

/** Inputs as a runner puts them into the environment: upper case, blanks to underscores, hyphens kept. */
export function inputVariables(inputs: Readonly<Record<string, string>>): Readonly<Record<string, string>> {
  const variables: Record<string, string> = {};
  for (const [name, value] of Object.entries(inputs)) {
    variables[`INPUT_${name.replaceAll(' ', '_').toUpperCase()}`] = value;
  }
  return variables;
}

export function makeStepFolder(): StepFolder {
  const folder = mkdtempSync('/tmp/quern-action-');
  const workspace = join(folder, 'work');
  const path = (...parts: string[]): string => join(workspace, ...parts);
  mkdirSync(join(folder, 'temp'));
  cpSync(join(import.meta.dirname, '..', 'e2e', 'otter-bank'), workspace, { recursive: true });
  rmSync(path('gauge-station.lock.json'), { force: true });
  for (const name of files) writeFileSync(join(folder, name), '');
  const text = (name: (typeof files)[number]): string => readFileSync(join(folder, name), 'utf8');
  return {
    workspace,
    env: {
      CI: 'true',
      GITHUB_ACTIONS: 'true',
      GITHUB_WORKSPACE: workspace,
      GITHUB_SERVER_URL: 'https://github.com',
      RUNNER_TEMP: join(folder, 'temp'),
      QUERN_STORE: join(testCache(), 'store'),
      ...Object.fromEntries(files.map((name) => [`GITHUB_${name}`, join(folder, name)])),
    },
    path,
    outputs: () => entriesIn(text('OUTPUT')),
    summary: () => text('STEP_SUMMARY'),
    strays: () => text('STATE') + text('ENV') + text('PATH'),
    remove: () => rmSync(folder, { recursive: true, force: true }),
  };
}
