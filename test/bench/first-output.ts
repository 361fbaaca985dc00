import { spawn } from 'node:child_process';
import { once } from 'node:events';

export interface Start {
  /** What the table calls it. */
  readonly name: string;
  readonly command: readonly [string, ...string[]];
  readonly cwd: string;
  readonly env: Readonly<Record<string, string | undefined>>;
}

/**
 * Milliseconds from starting a program to the first byte that it prints, or to its end when it prints nothing.
 *
 * @throws Error when it fails: that is no start to be measured
 */
export async function timeToFirstOutput({ name, command, cwd, env }: Start): Promise<number> {
  const [program, ...args] = command;
  const began = performance.now();
  let first: number | undefined;
  let output = '';
  const child = spawn(program, args, { cwd, env: { ...env }, stdio: ['ignore', 'pipe', 'pipe'] });
  for (const stream of [child.stdout, child.stderr]) {
    stream.setEncoding('utf8').on('data', (text: string) => {
      first ??= performance.now() - began;
      output += text;
    });
  }
  await once(child, 'close');
  first ??= performance.now() - began;
  if (child.exitCode !== 0) throw new Error(`${name} ended with ${child.exitCode}:\n${output}`);
  return first;
}
