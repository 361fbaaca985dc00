/** A process that answers each line of its input with one line, in their order. */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { createInterface } from 'node:readline';

export interface LineWorker {
  /** @throws Error when the process ends before it has answered */
  ask(line: string): Promise<string>;
  /** What it has said on its standard error so far, in latin1. */
  said(): string;
  close(): Promise<void>;
}

export interface LineWorkerOptions {
  readonly cwd: string;
  readonly env: Readonly<Record<string, string>>;
  /** What an answer looks like; other lines are passed over. */
  readonly answer: RegExp;
}

export function lineWorker(
  program: string,
  words: readonly string[],
  { cwd, env, answer }: LineWorkerOptions,
): LineWorker {
  const child = spawn(program, words, { cwd, env, stdio: ['pipe', 'pipe', 'pipe'] });
  let said = '';
  let ended: string | undefined;
  child.stderr.setEncoding('latin1').on('data', (text: string) => {
    said += text;
  });
  const waiting: { resolve: (line: string) => void; reject: (error: Error) => void }[] = [];
  createInterface({ input: child.stdout }).on('line', (line) => {
    if (answer.test(line)) waiting.shift()?.resolve(line);
  });
  const stop = (why: string): void => {
    ended ??= why;
    for (const { reject } of waiting.splice(0)) reject(new Error(`${program} ${why}: ${said}`));
  };
  child.on('error', (error) => stop(error.message));
  child.on('close', (status) => stop(`ended with ${status}`));
  // What is written to a process that has ended is answered by its end.
  child.stdin.on('error', () => undefined);
  return {
    ask: (line) =>
      new Promise((resolve, reject) => {
        if (ended !== undefined) return reject(new Error(`${program} ${ended}: ${said}`));
        waiting.push({ resolve, reject });
        child.stdin.write(`${line}\n`);
      }),
    said: () => said,
    close: async () => {
      child.stdin.end();
      if (ended === undefined) await once(child, 'close');
    },
  };
}
